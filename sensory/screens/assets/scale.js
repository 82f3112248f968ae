// A line to mark. Before the first touch there is no mark, and there is never a number.
// What is not echoed by the record is sent again every 2 s, with what the record held before; where
// the server has a route for answers, answers.js hands the mark over and says when it is kept.
const lines = new WeakMap()

export default function (component) {
  const { parentElement, data, setStateValue } = component
  let line = lines.get(parentElement)
  if (!line) {
    line = build(parentElement, data)
    lines.set(parentElement, line)
  }
  line.data = data
  line.send = () => {
    line.number = `${Date.now()}-${Math.random()}`
    setStateValue("mark", { number: line.number, at: line.at, over: line.over })
    if (data.field) hand(data.field, line.at)
  }
  if (line.number && data.received === line.number) line.number = ""
  if (!line.number && !line.held && isNew(line, data)) line.at = data.at
  draw(line)
  const kept = ({ detail }) => detail.key === data.field && acknowledged(line, detail.kept)
  document.addEventListener("booth-kept", kept)
  clearInterval(line.timer)
  line.timer = setInterval(() => line.number && !data.field && line.send(), 2000)
  return () => {
    clearInterval(line.timer)
    document.removeEventListener("booth-kept", kept)
  }
}

function hand(key, at) {
  document.dispatchEvent(new CustomEvent("booth-answer", { detail: { key, at } }))
}

// What was kept without the page being drawn anew stays, whatever the page said before it.
function isNew(line, data) {
  const drawn = JSON.stringify(data)
  if (data.field && line.drawn === drawn) return false
  line.drawn = drawn
  return true
}

function acknowledged(line, kept) {
  line.number = ""
  if (!kept) line.at = line.data.at
  draw(line)
}

function build(root, data) {
  const track = document.createElement("div")
  track.className = "track"
  track.tabIndex = 0
  track.setAttribute("role", "slider")
  track.setAttribute("aria-valuemin", "0")
  track.setAttribute("aria-valuemax", "100")
  const rule = document.createElement("div")
  rule.className = "rule"
  const mark = document.createElement("div")
  mark.className = "mark"
  track.append(rule, mark)
  const low = document.createElement("span")
  const high = document.createElement("span")
  const ends = document.createElement("div")
  ends.className = "ends"
  ends.append(low, high)
  const state = document.createElement("p")
  state.setAttribute("role", "status")
  root.querySelector(".line").replaceChildren(track, ends, state)
  const line = { track, mark, low, high, state, at: data.at, number: "", held: false }
  track.onpointerdown = (event) => {
    line.held = true
    track.setPointerCapture(event.pointerId)
    move(line, event)
  }
  track.onpointermove = (event) => line.held && move(line, event)
  track.onpointerup = () => released(line)
  track.onpointercancel = () => released(line)
  track.onkeydown = (event) => pressed(line, event)
  return line
}

function move(line, event) {
  const box = line.track.getBoundingClientRect()
  line.at = Math.min(1, Math.max(0, (event.clientX - box.left) / box.width))
  draw(line)
}

function released(line) {
  if (!line.held) return
  line.held = false
  line.over = line.data.at
  line.send()
  draw(line)
}

function pressed(line, event) {
  const step = { ArrowLeft: -0.02, ArrowDown: -0.02, ArrowRight: 0.02, ArrowUp: 0.02,
    PageDown: -0.1, PageUp: 0.1 }[event.key]
  const end = { Home: 0, End: 1 }[event.key]
  event.stopPropagation() // the page has one-letter shortcuts
  if (step === undefined && end === undefined) return
  event.preventDefault()
  const from = line.at === null || line.at === undefined ? 0.5 : line.at
  line.at = end === undefined ? Math.min(1, Math.max(0, from + step)) : end
  line.over = line.data.at
  line.send()
  draw(line)
}

function draw(line) {
  const { track, mark, state, data } = line
  const words = Object.fromEntries(data.words)
  const marked = line.at !== null && line.at !== undefined
  mark.hidden = !marked
  if (marked) mark.style.left = `${100 * line.at}%`
  track.setAttribute("aria-label", data.label)
  track.setAttribute("aria-valuetext", marked ? words.marked : words.not_answered)
  if (marked) track.setAttribute("aria-valuenow", String(Math.round(100 * line.at)))
  else track.removeAttribute("aria-valuenow")
  if (line.ticks !== data.ticks) {
    line.ticks = data.ticks
    track.querySelectorAll(".tick").forEach((tick) => tick.remove())
    for (const at of data.ticks ? data.ticks.split(" ") : []) {
      const tick = document.createElement("div")
      tick.className = "tick"
      tick.style.left = `${100 * at}%`
      track.insertBefore(tick, mark)
    }
  }
  line.low.textContent = data.low
  line.high.textContent = data.high
  state.textContent = line.number || line.held ? words.saving : marked ? words.saved : words.not_answered
}
