// Hands each answer of a ballot to the server's route and says "saved" only when that has said so.
// The fields stand in a form, so that a tap on them draws nothing anew; the page is asked to be drawn
// anew (the button "booth-again") only where the server refuses an answer: then it shows why.
// What is not acknowledged is kept here and sent again every 2 s. With it goes what the record held
// when the field was touched, and what was sent since: an old answer is never put over a newer one.
const pages = new WeakMap()
const TOUCHES = ["click", "keyup", "input", "change"]
const LONGEST = 1800 // ms; within 5 s of a tap the line says that it is not sent yet

export default function (component) {
  const { parentElement, data, setStateValue } = component
  let page = pages.get(parentElement)
  if (!page) {
    const [open, line] = ["open", "echo"].map((name) => parentElement.querySelector(`.${name}`))
    page = { open, line, known: {}, tried: {}, unsent: new Map(), away: false, touched: false }
    pages.set(parentElement, page)
  }
  // Goes with the form: what the window shows, as the server has acknowledged it.
  page.tell = () => setStateValue("shown", JSON.stringify(page.known))
  take(page, data)
  const touch = (event) => touched(page, event)
  const marked = (event) => given(page, event.detail.key, event.detail.at)
  const send = (event) => held(page, event)
  for (const name of TOUCHES) document.addEventListener(name, touch, true)
  document.addEventListener("booth-answer", marked)
  document.addEventListener("click", send, true)
  clearInterval(page.pulse)
  page.pulse = setInterval(() => felt(page), 2000)
  return () => {
    clearInterval(page.pulse)
    for (const name of TOUCHES) document.removeEventListener(name, touch, true)
    document.removeEventListener("booth-answer", marked)
    document.removeEventListener("click", send, true)
  }
}

// What the server drew. Fields that it does not know of yet keep what is marked.
function take(page, data) {
  if (page.drawn === JSON.stringify(data)) return
  page.drawn = JSON.stringify(data)
  const same = page.data?.line === data.line
  if (!same) {
    Object.assign(page, { known: {}, tried: {}, touched: false, typed: null, wanted: false })
    page.unsent.clear()
  }
  page.data = data
  page.fields = JSON.parse(data.fields)
  page.missing = JSON.parse(data.missing)
  let moved = false
  for (const { key, held } of page.fields) {
    if (page.unsent.has(key)) continue
    moved ||= same && held !== page.known[key] && typeof page.known[key] === "string"
    page.known[key] = held
  }
  page.tell()
  say(page)
  if (page.typed) given(page, page.typed.key, page.typed.text)
  else if (!same) for (const field of page.fields) early(page, field)
  if (moved) { // by another window, or drawn before the last answer was kept: look once more
    page.wanted = false
    setTimeout(() => again(page), 1000)
  }
}

// A tap that was quicker than this script.
function early(page, field) {
  const text = shown(field)
  if (field.held === "" && text) given(page, field.key, text)
}

// Several boxes of one field have keys of their own, which begin with that of the field.
function place({ key, between }) {
  return between ? `[class*="st-key-${key}-"]` : `.st-key-${key}`
}

function boxes(field) {
  return [...document.querySelectorAll(`${place(field)} input`)]
}

// What the window shows of a field; undefined where it is a mark, which its own script hands over.
function shown(field) {
  const { kind, choices, between } = field
  if (kind === "text") {
    return document.querySelector(`${place(field)} textarea`)?.value.trim().split(/\s+/).join(" ")
  }
  if (kind === "scale" || kind === "category") return undefined
  const at = boxes(field).map((box) => box.checked)
  if (kind === "guess") return at[0] ? "x" : ""
  return choices.filter((_, place) => at[place]).join(between)
}

function touched(page, { type, target }) {
  if (!(target instanceof Element)) return
  const field = page.fields.find((each) => target.closest(place(each)))
  if (!field) return
  if (type === "input" && field.kind === "text") page.typed = { key: field.key, text: shown(field) }
  if (field.kind === "text" && type !== "change") return
  setTimeout(() => look(page, field), 20) // the page takes the touch over first
}

function look(page, field) {
  const text = shown(field)
  if (text === undefined || text === latest(page, field.key)) return
  page.wanted = false
  given(page, field.key, text)
}

function latest(page, key) {
  return page.unsent.has(key) ? page.unsent.get(key) : page.known[key]
}

function given(page, key, value) {
  page.unsent.set(key, value)
  if (page.typed?.key === key) page.typed = null
  page.touched = true
  say(page)
  deliver(page)
}

async function deliver(page) {
  if (page.busy) return
  page.busy = true
  while (page.unsent.size && (await sent(page, ...page.unsent.entries().next().value)));
  page.busy = false
  say(page)
  press(page)
}

// What was pressed while an answer was under way, or got lost with the network; to send twice
// changes nothing.
function press(page) {
  if (page.wanted && !page.away && !page.unsent.size && !page.missing.length && !other(page)) {
    button()?.click()
  }
}

// Whether the page shows something else than what is kept: drawn while an answer was under way.
function other(page) {
  return page.fields.some((field) => {
    const text = shown(field)
    return text !== undefined && text !== page.known[field.key]
  })
}

// Whether the server has answered; what it refuses is drawn anew.
async function sent(page, key, value) {
  const { data } = page
  const field = page.fields.find((each) => each.key === key)
  const before = (page.tried[key] ||= [])
  const over = [page.known[key], ...before.slice(-7)]
  if (!before.includes(value)) before.push(value)
  const body = { token: data.token, invented: data.invented, line: data.line,
    row: field.row, name: field.name, given: value, over }
  const answer = await ask(data.route, { method: "POST", body: JSON.stringify(body),
    headers: { "content-type": "application/json" } })
  const kept = answer?.status === 200 ? await answer.json().catch(() => null) : null
  page.away = !kept && answer?.status !== 409
  if (page.away) return false
  page.tried[key] = []
  if (kept) {
    page.known[key] = kept.text
    page.missing = kept.open
    page.tell()
  }
  if (!kept || page.unsent.get(key) === value) page.unsent.delete(key)
  const told = { detail: { key, kept: Boolean(kept) } }
  if (!page.unsent.has(key)) document.dispatchEvent(new CustomEvent("booth-kept", told))
  if (!kept) {
    page.wanted = false
    again(page)
  }
  return true
}

function ask(address, options) {
  const signal = AbortSignal.timeout(LONGEST)
  return fetch(address, { cache: "no-store", signal, ...options }).catch(() => null)
}

function again(page) {
  page.drawn = "" // what comes is taken over, also where it is what stood here before
  document.querySelector(".st-key-booth-again button")?.click()
}

// A sign of life every 2 s, since a connection that is cut in silence looks open for minutes.
async function felt(page) {
  document.querySelector(".stDialog button")?.click()
  if (page.unsent.size) return deliver(page)
  const answer = await ask("/_stcore/health", {})
  page.away = !answer?.ok
  say(page)
  page.beats = (page.beats || 0) + 1
  if (page.away || page.typed || page.unsent.size || page.beats % 3) return
  if (other(page)) again(page)
  else press(page)
}

function button() {
  return document.querySelector('[class*="st-key-send-"] button')
}

// 'Send' waits for what is under way; a field that is being typed into is left by the same click.
function held(page, event) {
  if (!event.isTrusted || !(event.target instanceof Element)) return
  if (event.target.closest("button") !== button()) return
  page.wanted = true
  if (page.typed) given(page, page.typed.key, page.typed.text)
  const unlike = !page.unsent.size && other(page)
  if (unlike) again(page)
  if (!unlike && !page.unsent.size) return
  event.preventDefault()
  event.stopPropagation()
}

function say(page) {
  const { data, missing, unsent, away } = page
  const text = unsent.size ? data.saving : page.touched ? data.saved : ""
  page.line.textContent = away ? data.offline : text
  page.line.classList.toggle("offline", away)
  const named = missing.filter((name) => name !== "?")
  page.open.textContent = named.length ? data.open.replace("{what}", named.join(", ")) : ""
  const send = button()
  if (send) send.disabled = away || missing.length > 0
}
