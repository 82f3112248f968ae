// Categories as buttons: none is chosen before the first touch.
// What is not echoed by the record is sent again every 2 s, with what the record held before.
const rows = new WeakMap()

export default function (component) {
  const { parentElement, data, setStateValue } = component
  let row = rows.get(parentElement)
  if (!row) {
    row = build(parentElement, data)
    rows.set(parentElement, row)
  }
  row.data = data
  row.send = () => {
    row.number = `${Date.now()}-${Math.random()}`
    setStateValue("mark", { number: row.number, at: row.at, over: row.over })
    if (data.field) hand(data.field, data.choices[row.at])
  }
  if (row.number && data.received === row.number) row.number = ""
  if (!row.number && isNew(row, data)) row.at = data.at
  draw(row)
  const kept = ({ detail }) => detail.key === data.field && acknowledged(row, detail.kept)
  document.addEventListener("booth-kept", kept)
  clearInterval(row.timer)
  row.timer = setInterval(() => row.number && !data.field && row.send(), 2000)
  return () => {
    clearInterval(row.timer)
    document.removeEventListener("booth-kept", kept)
  }
}

// Answers.js hands it to the route of answers, where the server has one, and says when it is kept.
function hand(key, at) {
  document.dispatchEvent(new CustomEvent("booth-answer", { detail: { key, at } }))
}

// What was kept without the page being drawn anew stays, whatever the page said before it.
function isNew(row, data) {
  const drawn = JSON.stringify(data)
  if (data.field && row.drawn === drawn) return false
  row.drawn = drawn
  return true
}

function acknowledged(row, kept) {
  row.number = ""
  if (!kept) row.at = row.data.at
  draw(row)
}

function build(root, data) {
  const steps = document.createElement("div")
  steps.className = "steps"
  steps.setAttribute("role", "radiogroup")
  const row = { at: data.at, number: "", buttons: [], steps }
  data.choices.forEach((text, at) => {
    const button = document.createElement("button")
    button.type = "button"
    button.textContent = text
    button.setAttribute("role", "radio")
    button.onclick = () => choose(row, at)
    button.onkeydown = (event) => pressed(row, at, event)
    row.buttons.push(button)
    steps.append(button)
  })
  const ends = document.createElement("div")
  ends.className = "ends"
  row.low = document.createElement("span")
  row.high = document.createElement("span")
  ends.append(row.low, row.high)
  row.state = document.createElement("p")
  row.state.setAttribute("role", "status")
  root.querySelector(".categories").replaceChildren(steps, ends, row.state)
  return row
}

function choose(row, at) {
  row.at = at
  row.over = row.data.at
  row.send()
  draw(row)
}

// Arrows move the choice as in any group of radio buttons; a digit chooses its category.
function pressed(row, from, event) {
  const last = row.buttons.length - 1
  const step = { ArrowLeft: -1, ArrowUp: -1, ArrowRight: 1, ArrowDown: 1 }[event.key]
  const end = { Home: 0, End: last }[event.key]
  const digit = row.data.choices.indexOf(event.key)
  event.stopPropagation() // the page has one-letter shortcuts
  let to = end
  if (step !== undefined) to = Math.min(last, Math.max(0, from + step))
  else if (digit >= 0) to = digit
  if (to === undefined) return
  event.preventDefault()
  choose(row, to)
  row.buttons[to].focus()
}

function draw(row) {
  const { data, buttons } = row
  const chosen = row.at !== null && row.at !== undefined
  const last = buttons.length - 1
  row.steps.setAttribute("aria-label", data.label)
  buttons.forEach((button, at) => {
    button.setAttribute("aria-checked", String(chosen && row.at === at))
    button.tabIndex = at === (chosen ? row.at : 0) ? 0 : -1
    const word = { 0: data.low, [last]: data.high }[at]
    button.setAttribute("aria-label", word ? `${data.choices[at]}, ${word}` : data.choices[at])
  })
  row.low.textContent = `${data.choices[0]}: ${data.low}`
  row.high.textContent = `${data.choices[last]}: ${data.high}`
  if (row.number) row.state.textContent = data.words.saving
  else row.state.textContent = chosen ? data.words.saved : data.words.not_answered
}
