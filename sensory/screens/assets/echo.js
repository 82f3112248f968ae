// Says "saving" from the touch of any field of the page until the record holds it.
// A message to the server carries the fields of the whole page. One that gets lost with the
// network is not sent again by itself, so this line sends its own every 2 s until it is echoed.
// With it goes what the record held as the field was touched: a server that was started anew
// cannot know that, and takes no old answer for a new one.
// A connection that is cut in silence looks open for minutes, so the line asks the server every 2 s
// for a sign of life; without one it says that the page has to stay open. Streamlit's own words about
// it are English, and lie over the page: booth.css hides them, and they are put away from here.
// On a page without anything to be saved there is no word for saving, and no field is watched.
const echoes = new WeakMap()
const TOUCHES = ["click", "keyup", "change"]

// Choices are taken at the tap or key, a text when the cursor leaves it.
function isField({ type, target }) {
  if (target.tagName === "TEXTAREA") return type === "change"
  return type === "click" ? Boolean(target.closest("label")) : target.tagName === "INPUT"
}

export default function (component) {
  const { parentElement, data, setStateValue } = component
  let echo = echoes.get(parentElement)
  if (!echo) {
    const line = parentElement.querySelector(".echo")
    line.setAttribute("role", "status")
    echo = { line, number: "", held: "", touched: false, away: false }
    echoes.set(parentElement, echo)
  }
  echo.words = data
  echo.send = () => {
    echo.number = `${Date.now()}-${Math.random()}`
    setStateValue("touch", `${echo.number} ${echo.held}`)
  }
  if (echo.number && data.received === echo.number) echo.number = ""
  say(echo)
  const touch = (event) => isField(event) && touched(echo)
  if (data.saving) for (const name of TOUCHES) document.addEventListener(name, touch, true)
  clearInterval(echo.timer)
  clearInterval(echo.pulse)
  echo.pulse = setInterval(() => felt(echo), 2000)
  echo.timer = setInterval(() => echo.number && echo.send(), 2000)
  return () => {
    clearInterval(echo.timer)
    clearInterval(echo.pulse)
    for (const name of TOUCHES) document.removeEventListener(name, touch, true)
  }
}

function touched(echo) {
  echo.touched = true
  echo.held = echo.words.held
  echo.number = "not sent"
  say(echo)
  clearTimeout(echo.soon)
  echo.soon = setTimeout(() => echo.send(), 10) // the page takes the touch over first
}

async function felt(echo) {
  const options = { cache: "no-store", signal: AbortSignal.timeout(1800) }
  const alive = await fetch("/_stcore/health", options).then((answer) => answer.ok, () => false)
  document.querySelector(".stDialog button")?.click()
  if (echo.away === !alive) return
  echo.away = !alive
  say(echo)
}

function say(echo) {
  const held = echo.number ? echo.words.saving : echo.touched ? echo.words.saved : ""
  echo.line.textContent = echo.away ? echo.words.offline : held
  echo.line.classList.toggle("offline", echo.away)
}
