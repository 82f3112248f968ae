// A grid of text cells that says "saved" only when the record has echoed a cell.
// Cells are never re-made while somebody types; what is not echoed is sent again every 2 s.
const grids = new WeakMap()

export default function (component) {
  const { parentElement, data, setStateValue } = component
  let grid = grids.get(parentElement)
  if (!grid || grid.shape !== shapeOf(data)) {
    const before = grid
    if (before) clearInterval(before.timer)
    grid = build(parentElement, data, before ? before.pending : new Map())
    grid.sent = before ? before.sent : undefined
    for (const [key, text] of grid.pending) if (grid.inputs.has(key)) grid.inputs.get(key).value = text
    grids.set(parentElement, grid)
  }
  clearInterval(grid.timer)
  grid.timer = setInterval(() => grid.pending.size && grid.send(), 2000)
  grid.send = () => {
    const changes = [...grid.pending].map(([key, text]) => [...key.split("|"), text])
    const number = `${Date.now()}-${Math.random()}`
    grid.sent = { number, cells: new Map(grid.pending) }
    setStateValue("typed", { number, changes })
  }
  show(grid, data)
  // Called between updates too, while the cells stay: only the clock is stopped here.
  return () => clearInterval(grid.timer)
}

const shapeOf = (data) => JSON.stringify([data.columns, data.lines, data.planned])
const keyOf = (line, name) => `${line}|${name}`

function build(root, data, pending) {
  const grid = { shape: shapeOf(data), pending, inputs: new Map(), notes: new Map(), back: -1 }
  grid.begun = !data.planned
  const table = document.createElement("table")
  const head = table.createTHead().insertRow()
  for (const title of ["row", ...data.columns.map((c) => c.title), data.note]) {
    const cell = document.createElement("th")
    cell.scope = "col"
    cell.textContent = title
    head.append(cell)
  }
  const body = table.createTBody()
  data.lines.forEach((line, row) => {
    const tr = body.insertRow()
    const number = document.createElement("th")
    number.scope = "row"
    number.textContent = line
    tr.append(number)
    data.columns.forEach((column, place) => {
      const input = document.createElement("input")
      Object.assign(input, { type: "text", maxLength: 300, spellcheck: false, autocomplete: "off" })
      input.size = column.size
      input.inputMode = column.digits ? "numeric" : "text"
      input.setAttribute("aria-label", `row ${line}, ${column.title}`)
      input.dataset.row = row
      input.dataset.place = place
      input.dataset.key = keyOf(line, column.name)
      input.dataset.answer = column.answer ? "yes" : ""
      input.dataset.codes = column.codes ? "yes" : ""
      grid.inputs.set(input.dataset.key, input)
      tr.insertCell().append(input)
    })
    const note = tr.insertCell()
    note.className = "note"
    note.id = `note-${line}`
    grid.notes.set(line, note)
  })
  const at = (row, place) => root.querySelector(`input[data-row="${row}"][data-place="${place}"]`)
  grid.row = (row) => [...root.querySelectorAll(`input[data-row="${row}"]`)]
  body.oninput = (event) => typed(grid, event.target)
  body.onchange = () => grid.send()
  body.onkeydown = (event) => moved(event, at, data.columns.length, grid)
  body.onpaste = (event) => pasted(event, at, grid, data)
  grid.state = document.createElement("p")
  grid.state.setAttribute("role", "status")
  const frame = document.createElement("div")
  frame.className = "frame"
  frame.append(table)
  const finder = data.columns.some((column) => column.codes) ? [finderOf(grid, data)] : []
  root.querySelector(".grid").replaceChildren(...finder, grid.state, frame)
  return grid
}

// Ballots come back in any order: a code leads to its row, Enter to its answer and back again.
function finderOf(grid, data) {
  const line = document.createElement("label")
  line.className = "finder"
  const field = document.createElement("input")
  Object.assign(field, { type: "text", inputMode: "numeric", maxLength: 12, autocomplete: "off" })
  const where = document.createElement("output")
  line.append("Code on the ballot ", field, where)
  const row = () => data.lines.findIndex((_, at) => grid.row(at).some((input) =>
    input.dataset.codes && input.value.split(/\s+/).includes(field.value.trim())))
  field.oninput = () => {
    const [code, at] = [field.value.trim(), row()]
    const name = at < 0 ? "" : grid.row(at)[0].value
    if (!code) where.textContent = ""
    else if (at >= 0) where.textContent = `${code} is row ${data.lines[at]}${name && `, ${name}`}`
    else where.textContent = code.length > 2 ? `No ballot has the code ${code}` : ""
  }
  field.onkeydown = (event) => {
    event.stopPropagation()
    if (event.key !== "Enter" || !field.value.trim() || row() < 0) return
    event.preventDefault()
    grid.back = row()
    go(grid.row(grid.back).find((input) => input.dataset.answer))
  }
  grid.finder = field
  return line
}

function go(input) {
  if (!input) return
  input.focus()
  input.select()
}

function typed(grid, input) {
  widened(grid)
  grid.pending.set(input.dataset.key, input.value)
  said(grid)
  clearTimeout(grid.soon)
  grid.soon = setTimeout(() => grid.send(), 400)
}

function said(grid) {
  grid.state.textContent = grid.pending.size ? "saving ..." : "all saved"
}

function moved(event, at, width, grid) {
  event.stopPropagation() // the page has one-letter shortcuts
  const row = Number(event.target.dataset.row)
  const place = Number(event.target.dataset.place)
  const along = place + 1 < width ? at(row, place + 1) : at(row + 1, 0)
  const target = {
    Enter: () => (event.target.dataset.answer && nextAnswer(grid, row, place)) || along,
    ArrowDown: () => at(row + 1, place),
    ArrowUp: () => at(row - 1, place),
  }[event.key]?.()
  if (!target) return
  event.preventDefault()
  go(target)
}

// The next answer of the ballot, then that of the next ballot where there is one, or the code of
// another ballot where this one was found by its code. None: there is a ballot to begin.
function nextAnswer(grid, row, place) {
  const answer = (at, after) => grid.row(at).find((input) =>
    input.dataset.answer && Number(input.dataset.place) > after)
  const here = answer(row, place)
  if (here) return here
  if (grid.back === row) {
    grid.back = -1
    return grid.finder
  }
  return grid.row(row + 1)[0]?.value ? answer(row + 1, -1) : undefined
}

// No name is cut: the first column is as wide as the longest of them.
function widened(grid) {
  const names = [...grid.inputs.values()].filter((input) => input.dataset.place === "0")
  const longest = Math.max(8, ...names.map((input) => input.value.length))
  for (const input of names) input.style.minWidth = `${Math.min(longest, 48) + 3}ch`
}

function pasted(event, at, grid, data) {
  const text = event.clipboardData.getData("text/plain").replace(/\r?\n$/, "")
  if (!/[\t\n]/.test(text)) return
  event.preventDefault()
  const row = Number(event.target.dataset.row)
  const place = Number(event.target.dataset.place)
  tabbed(text).forEach((cells, down) => cells.forEach((cell, right) => {
    const column = data.columns[place + right]
    if (!column) return
    const value = cell.replace(/\s+/g, " ").trim().slice(0, 300)
    const input = at(row + down, place + right)
    if (input) input.value = value
    // below the last row: the server adds the row when the cell arrives
    const line = data.lines[0] + row + down
    grid.pending.set(input ? input.dataset.key : keyOf(line, column.name), value)
  }))
  said(grid)
  grid.send()
}

// Rows and cells of a block copied from a spreadsheet; a quoted cell may hold line breaks.
function tabbed(text) {
  const rows = [[""]]
  let quoted = false
  for (let i = 0; i < text.length; i++) {
    const letter = text[i]
    const row = rows[rows.length - 1]
    if (quoted) {
      if (letter === '"' && text[i + 1] === '"') { row[row.length - 1] += '"'; i++ }
      else if (letter === '"') quoted = false
      else row[row.length - 1] += letter
    } else if (letter === '"' && row[row.length - 1] === "") quoted = true
    else if (letter === "\t") row.push("")
    else if (letter === "\n") rows.push([""])
    else if (letter !== "\r") row[row.length - 1] += letter
  }
  return rows
}

function show(grid, data) {
  const stored = new Map(data.cells.map(([line, name, text]) => [keyOf(line, name), text]))
  const wrong = new Map(data.problems.map((entry) => [keyOf(entry.line, entry.name), entry]))
  if (grid.sent && data.received === grid.sent.number) {
    for (const [key, text] of grid.sent.cells) {
      if (grid.pending.get(key) === text) grid.pending.delete(key)
    }
  }
  const focused = [...grid.inputs.values()].find((input) => input.matches(":focus"))
  for (const [key, input] of grid.inputs) {
    const text = stored.get(key) ?? ""
    if (!grid.pending.has(key) && input !== focused && input.value !== text) input.value = text
    const problem = wrong.get(key)
    input.className = problem ? (problem.blocking ? "wrong" : "remark") : ""
    input.setAttribute("aria-invalid", problem && problem.blocking ? "true" : "false")
    if (problem) input.setAttribute("aria-describedby", `note-${problem.line}`)
    else input.removeAttribute("aria-describedby")
  }
  for (const [line, note] of grid.notes) note.textContent = data.notes[line] ?? ""
  widened(grid)
  begun(grid)
  said(grid)
}

// Everything but the answers is there already: typing begins at the first that is blank.
function begun(grid) {
  if (grid.begun || document.activeElement !== document.body) return
  grid.begun = true
  const answers = [...grid.inputs.values()].filter((input) => input.dataset.answer)
  answers.find((input) => !input.value)?.focus({ preventScroll: true })
}
