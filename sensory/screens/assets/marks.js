// The fields of a ballot: choices, places, words to tick, a comment, a line to mark, categories.
// Before the first touch nothing is marked, and there is never a number beside a line.
// A field has `root`, `show(view)` to take over what is on record, and `say(state)`; what is marked
// goes to `give(value)`: a text as it is stored, or a place from 0 to 1.
function make(tag, attributes = {}, ...children) {
  const made = document.createElement(tag)
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value)
  made.append(...children)
  return made
}

let groups = 0

function drawField(view, words, give) {
  const draw = { text: drawText, scale: drawLine, category: drawCategories }[view.kind]
  const { body, show, say } = (draw || drawChoices)(view, words, give)
  const root = make("section", { class: `field ${view.kind}${view.card ? " card" : ""}` })
  if (view.label) root.append(make("p", { class: "label" }, view.label))
  if (view.about.length) root.append(make("ul", {}, ...view.about.map((text) => make("li", {}, text))))
  root.append(body)
  show(view)
  return { root, show, say: say || (() => {}) }
}

function drawChoices(view, words, give) {
  const single = !view.between
  const role = single ? "radiogroup" : "group"
  const group = make("div", { class: "choices", role, "aria-label": view.said })
  const name = `choice-${(groups += 1)}`
  const boxes = view.choices.map(([, text]) => {
    const box = make("input", { type: single ? "radio" : "checkbox", name })
    group.append(make("label", {}, box, make("span", {}, text)))
    return box
  })
  const chosen = () => view.choices.map(([stored]) => stored).filter((_, at) => boxes[at].checked)
  group.onchange = () => give(chosen().join(view.between))
  const show = ({ held }) => {
    const parts = single ? [held] : held.split(view.between)
    view.choices.forEach(([stored], at) => (boxes[at].checked = parts.includes(stored)))
  }
  return { body: group, show }
}

function drawText(view, words, give) {
  const area = make("textarea", { maxlength: "300", rows: "3" })
  const text = () => area.value.trim().split(/\s+/).join(" ")
  area.oninput = () => give(text(), { typed: true })
  area.onchange = () => give(text())
  area.onkeydown = (event) => event.stopPropagation() // the page has one-letter shortcuts
  const show = ({ held }) => {
    if (text() !== held) area.value = held
  }
  return { body: make("label", {}, make("span", {}, view.said), area), show }
}

function ends(low, high) {
  return make("div", { class: "ends" }, make("span", {}, low), make("span", {}, high))
}

function drawLine(view, words, give) {
  const mark = make("div", { class: "mark", hidden: "" })
  const track = make("div", {
    class: "track", tabindex: "0", role: "slider", "aria-label": view.said,
    "aria-valuemin": "0", "aria-valuemax": "100",
  }, make("div", { class: "rule" }))
  for (const at of view.anchors) track.append(make("div", { class: "tick", style: `left: ${100 * at}%` }))
  track.append(mark)
  const state = make("p", { class: "state", role: "status" })
  let place = null
  let held = false
  const put = (at) => {
    place = at
    const marked = at !== null
    mark.hidden = !marked
    if (marked) mark.style.left = `${100 * at}%`
    if (marked) track.setAttribute("aria-valuenow", String(Math.round(100 * at)))
    else track.removeAttribute("aria-valuenow")
    track.setAttribute("aria-valuetext", marked ? words.marked : words.not_answered)
  }
  const move = ({ clientX }) => {
    const box = track.getBoundingClientRect()
    put(Math.min(1, Math.max(0, (clientX - box.left) / box.width)))
    state.textContent = words.saving
  }
  const released = () => {
    if (held) give(place)
    held = false
  }
  track.onpointerdown = (event) => {
    held = true
    track.setPointerCapture(event.pointerId)
    move(event)
  }
  track.onpointermove = (event) => held && move(event)
  track.onpointerup = track.onpointercancel = released
  track.onkeydown = (event) => {
    const step = { ArrowLeft: -0.02, ArrowDown: -0.02, ArrowRight: 0.02, ArrowUp: 0.02,
      PageDown: -0.1, PageUp: 0.1 }[event.key]
    const end = { Home: 0, End: 1 }[event.key]
    event.stopPropagation()
    if (step === undefined && end === undefined) return
    event.preventDefault()
    put(end === undefined ? Math.min(1, Math.max(0, (place === null ? 0.5 : place) + step)) : end)
    give(place)
  }
  const say = (waits) => {
    state.textContent = waits || held ? words.saving : place === null ? words.not_answered : words.saved
  }
  const show = ({ at }) => held || put(at)
  return { body: make("div", { class: "line" }, track, ends(...view.ends), state), show, say }
}

// Categories as buttons. Arrows move the choice as in any group of radio buttons; a digit chooses
// its category.
function drawCategories(view, words, give) {
  const stored = view.choices.map(([text]) => text)
  const last = stored.length - 1
  const [low, high] = view.ends
  const steps = make("div", { class: "steps", role: "radiogroup", "aria-label": view.said })
  const state = make("p", { class: "state", role: "status" })
  const named = { 0: low, [last]: high }
  let chosen = -1
  const buttons = stored.map((text, at) => {
    const label = named[at] ? `${text}, ${named[at]}` : text
    const button = make("button", { type: "button", role: "radio", "aria-label": label }, text)
    button.onclick = () => choose(at)
    button.onkeydown = (event) => pressed(event, at)
    return button
  })
  steps.append(...buttons)
  const put = (at) => {
    chosen = at
    buttons.forEach((button, place) => {
      button.setAttribute("aria-checked", String(place === at))
      button.tabIndex = place === Math.max(at, 0) ? 0 : -1
    })
  }
  const choose = (at) => {
    put(at)
    give(stored[at])
  }
  const pressed = (event, from) => {
    const step = { ArrowLeft: -1, ArrowUp: -1, ArrowRight: 1, ArrowDown: 1 }[event.key]
    const digit = stored.indexOf(event.key)
    let to = { Home: 0, End: last }[event.key]
    event.stopPropagation()
    if (step !== undefined) to = Math.min(last, Math.max(0, from + step))
    else if (digit >= 0) to = digit
    if (to === undefined) return
    event.preventDefault()
    choose(to)
    buttons[to].focus()
  }
  const say = (waits) => {
    state.textContent = waits ? words.saving : chosen < 0 ? words.not_answered : words.saved
  }
  const below = ends(`${stored[0]}: ${low}`, `${stored[last]}: ${high}`)
  const show = ({ held }) => put(stored.indexOf(held))
  return { body: make("div", { class: "categories" }, steps, below, state), show, say }
}
