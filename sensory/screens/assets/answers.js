// Hands each answer of a ballot, and that it is sent, to the server's route, and says "saved" only
// when that has said so. The fields stand in a form, so that a tap on them draws nothing anew; the
// page is asked to be drawn anew (the button "booth-again") only where the ballot is sent, or the
// server refuses something.
// What is not acknowledged is kept here and sent again every 2 s. With it goes what the record held
// when the field was touched, what was sent since, and a number that rises with each message of this
// window: an old answer is never put over a newer one.
const pages = new WeakMap()
const TOUCHES = ["click", "keyup", "input", "change"]
const turn = { window: named(), number: 0 }
const LONGEST = 1800 // ms; within 5 s of a tap the line says that it is not sent yet

export default function (component) {
  const { parentElement, data } = component
  let page = pages.get(parentElement)
  if (!page) {
    const [open, line] = ["open", "echo"].map((name) => parentElement.querySelector(`.${name}`))
    page = { open, line, known: {}, tried: {}, unsent: new Map(), away: false, touched: false }
    pages.set(parentElement, page)
  }
  take(page, data)
  const touch = (event) => touched(page, event)
  const marked = (event) => given(page, event.detail.key, event.detail.at)
  const send = (event) => pressed(page, event)
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

// Of this window, until it is loaded again; not `randomUUID`, which plain http does not have.
function named() {
  const bytes = crypto.getRandomValues(new Uint8Array(16))
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("")
}

// What the server drew. Fields that it does not know of yet keep what is marked.
function take(page, data) {
  if (page.drawn === JSON.stringify(data)) return
  page.drawn = JSON.stringify(data)
  const same = page.data?.line === data.line
  if (!same) {
    Object.assign(page, { known: {}, tried: {}, touched: false, typed: null, wanted: false, sent: false })
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
  while (page.unsent.size && (await kept(page, ...page.unsent.entries().next().value)));
  if (page.missing.length) page.wanted = false
  if (page.wanted && !page.unsent.size) await send(page)
  page.busy = false
  say(page)
}

// The ballot as it is shown; to send it twice changes nothing. Where the page shows something else
// than this window was told is kept, it is drawn anew first.
async function send(page) {
  if (other(page)) return again(page)
  const shown = page.fields.map(({ key, row, name }) => [row, name, page.known[key]])
  const told = await ask(page, { shown })
  page.away = !told
  if (page.away) return
  Object.assign(page, { wanted: false, sent: told.ok })
  again(page)
}

// Whether the page shows something else than what is kept: drawn while an answer was under way.
function other(page) {
  return page.fields.some((field) => {
    const text = shown(field)
    return text !== undefined && text !== page.known[field.key]
  })
}

// Whether the server has answered; what it refuses is drawn anew.
async function kept(page, key, value) {
  const { row, name } = page.fields.find((each) => each.key === key)
  const before = (page.tried[key] ||= [])
  const over = [page.known[key], ...before.slice(-7)]
  if (!before.includes(value)) before.push(value)
  const told = await ask(page, { row, name, given: value, over })
  page.away = !told
  if (page.away) return false
  page.tried[key] = []
  if (told.ok) {
    page.known[key] = told.text
    page.missing = told.open
  }
  if (!told.ok || page.unsent.get(key) === value) page.unsent.delete(key)
  const detail = { key, kept: told.ok }
  if (!page.unsent.has(key)) document.dispatchEvent(new CustomEvent("booth-kept", { detail }))
  if (!told.ok) {
    page.wanted = false
    again(page)
  }
  return true
}

// What the route says to it: done, or refused; null where it cannot be reached.
async function ask({ data: { route, token, line, invented } }, content) {
  const { window, number } = { ...turn, number: (turn.number += 1) }
  const body = JSON.stringify({ token, line, invented, window, turn: number, ...content })
  const headers = { "content-type": "application/json" }
  const answer = await reach(route, { method: "POST", body, headers })
  if (answer?.status === 409) return { ok: false }
  const told = answer?.status === 200 ? await answer.json().catch(() => null) : null
  return told && { ok: true, ...told }
}

function reach(address, options) {
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
  if (page.unsent.size || page.wanted) return deliver(page)
  const answer = await reach("/_stcore/health", {})
  page.away = !answer?.ok
  say(page)
  page.beats = (page.beats || 0) + 1
  if (page.away || page.typed || page.unsent.size || page.wanted || page.beats % 3) return
  if (page.sent || other(page)) again(page)
}

function button() {
  return document.querySelector('[class*="st-key-send-"] button')
}

// The ballot is sent after what is under way; a field that is being typed into is left by the same
// click.
function pressed(page, event) {
  if (!(event.target instanceof Element) || event.target.closest("button") !== button()) return
  event.preventDefault()
  event.stopPropagation()
  if (page.sent) return
  page.wanted = true
  if (page.typed) given(page, page.typed.key, page.typed.text)
  else deliver(page)
  say(page)
}

function say(page) {
  const { data, missing, unsent, away, wanted, sent } = page
  const text = unsent.size || wanted ? data.saving : page.touched || sent ? data.saved : ""
  page.line.textContent = away ? data.offline : text
  page.line.classList.toggle("offline", away)
  const named = missing.filter((name) => name !== "?")
  page.open.textContent = named.length ? data.open.replace("{what}", named.join(", ")) : ""
  const send = button()
  if (send) send.disabled = away || sent || missing.length > 0
}
