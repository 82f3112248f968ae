// Draws a ballot, hands each answer, and that it is sent, to the server's route, and draws what the
// route gives as the next one. The page is run only where something else than a ballot comes next.
// "saved" is said only when the route has said so. What is not acknowledged is kept here and sent
// again every 2 s. With it goes what the record held when the field was marked, what was sent
// since, and a number that rises with each message of this window: an old answer is never put over
// a newer one.
const pages = new WeakMap()
const turn = { window: named(), number: 0 }
const done = new Set() // lines of ballots that this window has sent or left out
const LONGEST = 1800 // ms; within 5 s of a tap the line says that it is not sent yet

export default function (component) {
  const { parentElement, data, setTriggerValue } = component
  let page = pages.get(parentElement)
  if (!page) {
    const root = parentElement.querySelector(".ballot")
    page = { root, fields: [], unsent: new Map(), beats: 0, looks: 0 }
    pages.set(parentElement, page)
  }
  page.run = () => setTriggerValue("again", (page.looks += 1))
  take(page, data)
  clearInterval(page.pulse)
  page.pulse = setInterval(() => felt(page), 2000)
  return () => clearInterval(page.pulse)
}

// Of this window, until it is loaded again; not `randomUUID`, which plain http does not have.
function named() {
  const bytes = crypto.getRandomValues(new Uint8Array(16))
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("")
}

// What the page drew: it may have been drawn before what this window has sent since, so that only
// the route says how a ballot stands that is here already.
function take(page, data) {
  const drawn = JSON.stringify(data)
  if (page.drawn === drawn) return
  Object.assign(page, { drawn, place: data, words: JSON.parse(data.words) })
  const view = JSON.parse(data.view)
  const same = page.view?.line === view.line
  if (page.view && (same || done.has(view.line))) {
    page.asks = true
    deliver(page)
  } else show(page, view)
}

// A ballot that is here already keeps what is not acknowledged yet, also where the leader has
// declared an allergen meanwhile and it is drawn anew.
function show(page, view) {
  page.waits = false
  const { view: before } = page
  Object.assign(page, { view, missing: view.open })
  if (before?.line !== view.line) return draw(page)
  if (frame(before) !== frame(view)) {
    const left = [...page.unsent].map(([{ row, name }, value]) => ({ row, name, value }))
    draw(page)
    for (const { row, name, value } of left) {
      const field = page.fields.find((each) => each.row === row && each.name === name)
      if (!field) continue
      field.show({ held: value, at: value })
      given(page, field, value)
    }
  } else {
    page.fields.forEach((field, at) => {
      if (page.unsent.has(field) || page.typed?.field === field) return
      field.known = view.fields[at].held
      field.show(view.fields[at])
    })
  }
  say(page)
}

// All of a ballot but what is answered.
function frame(view) {
  const fields = view.fields.map((field) => ({ ...field, held: "", at: null }))
  return JSON.stringify({ ...view, fields, open: [] })
}

function draw(page) {
  const { view, words, root } = page
  Object.assign(page, { touched: false, wanted: false, leaves: false, typed: null })
  page.unsent.clear()
  page.fields = view.fields.map((asked) => {
    const { row, name, held } = asked
    const field = { row, name, known: held, tried: [] }
    const give = (value, { typed } = {}) => marked(page, field, value, typed)
    return Object.assign(field, drawField(asked, words, give))
  })
  const title = make("h1", { tabindex: "-1" }, view.title)
  const cards = view.cards.map((text) => make("strong", {}, text))
  const picked = page.fields.filter((_, at) => view.fields[at].card)
  const others = page.fields.filter((_, at) => !view.fields[at].card)
  page.notice = make("p", { class: "notice", role: "alert" })
  page.open = make("p", { class: "open" })
  page.line = make("p", { class: "echo", role: "status" })
  page.send = make("button", { type: "button", class: "send" }, words.send)
  page.send.onclick = () => pressed(page)
  root.replaceChildren(
    make("p", { class: "number" }, view.number),
    ...view.told.map((text) => make("p", { class: "told" }, text)),
    title,
    ...["pause", "allergens"].filter((name) => view[name]).map((name) => make("p", { class: `told ${name}` }, view[name])),
    make("p", {}, view.samples),
    make("div", { class: "samples" }, ...cards, ...picked.map(({ root }) => root)),
    ...others.map(({ root }) => root),
    page.notice,
    make("div", { class: "foot" }, page.open, page.line, page.send),
    ...(view.allergens ? [wayOut(page)] : []),
  )
  if (page.begun) {
    title.focus({ preventScroll: true })
    root.scrollIntoView({ block: "start" })
  }
  page.begun = true
  say(page)
}

// Past a ballot whose samples hold an allergen; asked about once, and no code is named.
function wayOut(page) {
  const { words } = page
  const asks = make("div", { class: "way-out" })
  const first = make("button", { type: "button", class: "leave" }, words.leave_out)
  const sure = make("button", { type: "button", class: "leave-sure" }, words.leave_out)
  const back = make("button", { type: "button", class: "leave-back" }, words.back)
  first.onclick = () => {
    asks.replaceChildren(make("p", { class: "told allergens" }, words.leave_out_sure), sure, back)
    back.focus()
  }
  sure.onclick = () => {
    page.leaves = true
    deliver(page)
  }
  back.onclick = () => {
    asks.replaceChildren(first)
    first.focus()
  }
  asks.append(first)
  return asks
}

// Choices are handed over at the tap or key, a text when the cursor leaves it, or with 'send'.
function marked(page, field, value, typed) {
  if (typed) {
    page.typed = { field, value }
    return
  }
  page.wanted = false
  given(page, field, value)
  deliver(page)
}

function given(page, field, value) {
  if (page.typed?.field === field) page.typed = null
  page.unsent.set(field, value)
  page.touched = true
  page.notice.textContent = ""
  say(page)
}

// The ballot is sent after what is under way; the same tap leaves a field that is typed into.
function pressed(page) {
  if (page.typed) given(page, page.typed.field, page.typed.value)
  page.wanted = true
  say(page)
  deliver(page)
}

async function deliver(page) {
  if (page.busy) return
  page.busy = true
  while (await step(page));
  page.busy = false
  say(page)
}

// The next message of this window; whether there may be another.
async function step(page) {
  if (page.leaves) return tell(page, "leaves", { leave: true })
  const [field] = page.unsent.keys()
  if (field) return keep(page, field, page.unsent.get(field))
  if (page.wanted && !page.missing.length) {
    const shown = page.fields.map(({ row, name, known }) => [row, name, known])
    return tell(page, "wanted", { shown })
  }
  page.wanted = false
  return page.asks ? tell(page, "asks", { look: true }) : false
}

async function keep(page, field, value) {
  const { row, name } = field
  const over = [field.known, ...field.tried.slice(-7)]
  if (!field.tried.includes(value)) field.tried.push(value)
  const told = await ask(page, { row, name, given: value, over })
  if (!told || !page.fields.includes(field)) return Boolean(told)
  field.tried = []
  if (!told.ok || page.unsent.get(field) === value) page.unsent.delete(field)
  if (!told.ok) return refused(page, told)
  field.known = told.text
  page.missing = told.open
  say(page)
  return true
}

// To send or to leave out a ballot twice changes nothing. What was pressed while another message was
// under way comes next.
async function tell(page, pressed, what) {
  const { line } = page.view
  const told = await ask(page, what)
  if (!told) return false
  page[pressed] = false
  if (page.view.line !== line) return true
  if (!told.ok) return refused(page, told)
  if (!what.look) done.add(line)
  return next(page, told.next)
}

function refused(page, { next: view }) {
  page.wanted = false
  const goes = next(page, view)
  if (goes) page.notice.textContent = page.words.other_window
  return goes
}

// Whether a ballot comes next; for all else the page is asked.
function next(page, view) {
  page.drawn = "" // what the page draws from now on is taken over
  if (view) show(page, view)
  else {
    page.waits = true
    page.run()
  }
  return Boolean(view)
}

// What the route says to a message; null where it cannot be reached.
async function ask(page, content) {
  const { place, view } = page
  const { window, number } = { ...turn, number: (turn.number += 1) }
  const { token, invented } = place
  const body = JSON.stringify({ token, line: view.line, invented, window, turn: number, ...content })
  const headers = { "content-type": "application/json" }
  const answer = await reach(place.route, { method: "POST", body, headers })
  const told = [200, 409].includes(answer?.status) ? await answer.json().catch(() => null) : null
  page.away = !told
  return told && { ok: answer.status === 200, ...told }
}

function reach(address, options) {
  const signal = AbortSignal.timeout(LONGEST)
  return fetch(address, { cache: "no-store", signal, ...options }).catch(() => null)
}

// A sign of life every 2 s, since a connection that is cut in silence looks open for minutes; every
// 10 s it asks how the ballot stands: tasting may be stopped, or an allergen be declared.
// Streamlit's own words about it are English and lie over the page: they are put away from here.
async function felt(page) {
  document.querySelector(".stDialog button")?.click()
  page.beats += 1
  if (page.beats % 5 === 0) page.asks = true
  if (page.unsent.size || page.wanted || page.leaves || page.asks) return deliver(page)
  page.away = !(await reach("/_stcore/health", {}))?.ok
  say(page)
}

function say(page) {
  const { words, missing, unsent, away, wanted, leaves, waits, touched } = page
  const under = unsent.size || wanted || leaves
  const text = under ? words.saving : touched || waits ? words.saved : ""
  page.line.textContent = away ? words.offline : text
  page.line.classList.toggle("offline", Boolean(away))
  const open = missing.filter((name) => name !== "?").join(", ")
  page.open.textContent = open ? words.still_open.replace("{what}", open) : ""
  page.send.disabled = Boolean(away || waits || missing.length)
  for (const field of page.fields) field.say(unsent.has(field))
}
