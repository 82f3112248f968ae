// Says, on a page that has nothing to be saved, while the server does not answer.
// A connection that is cut in silence looks open for minutes, so it is asked every 2 s for a sign of
// life. Streamlit's own words about it are English, and lie over the page: booth.css hides them, and
// they are put away from here.
export default function ({ parentElement, data }) {
  const line = parentElement.querySelector(".echo")
  const pulse = setInterval(() => felt(line, data.offline), 2000)
  return () => clearInterval(pulse)
}

async function felt(line, offline) {
  const options = { cache: "no-store", signal: AbortSignal.timeout(1800) }
  const alive = await fetch("/_stcore/health", options).then((answer) => answer.ok, () => false)
  document.querySelector(".stDialog button")?.click()
  line.textContent = alive ? "" : offline
  line.classList.toggle("offline", !alive)
}
