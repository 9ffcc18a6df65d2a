// A table that is typed into like a book: Tab to the next cell, Enter to the next row, a new row below the last.
// With columns that are locked it is a page to fill in: those cannot be typed into, and no row comes below the last.
// Every cell that is left changed goes to the kernel as a message of its own, so that none overtakes another.
const STYLE = `
.book-grid { overflow-x: scroll; overflow-y: auto; max-height: 32em; padding-bottom: 4px; scroll-padding-right: 11em; }
.book-grid.filled { max-height: 64em; }
.book-grid table { border-collapse: collapse; color: var(--jp-content-font-color1); font-size: 13px; }
.book-grid th { position: sticky; top: 0; background: var(--jp-layout-color1); text-align: left; padding: 2px 4px; z-index: 1; }
.book-grid td { padding: 0; }
.book-grid .worked { position: sticky; right: 0; background: var(--jp-layout-color1); min-width: 4.6em; text-align: right; }
.book-grid .worked:nth-last-child(2) { right: calc(4.6em + 12px); }
.book-grid th.worked { z-index: 2; padding: 2px 6px; }
.book-grid td.worked, .book-grid td.number { padding: 0 6px; text-align: right; color: var(--jp-content-font-color2); }
.book-grid input { border: 1px solid var(--jp-border-color2); background: var(--jp-layout-color1); color: inherit;
  font: inherit; padding: 2px 4px; box-sizing: border-box; }
.book-grid input:focus { outline: 2px solid var(--jp-brand-color1); outline-offset: -2px; }
.book-grid input[aria-invalid="true"] { border: 2px solid var(--jp-error-color1); }
.book-grid input.doubtful { border: 2px solid var(--jp-warn-color1); }
.book-grid input:read-only { border-color: transparent; background: var(--jp-layout-color2); }
.book-grid td.said div { position: sticky; left: 0; box-sizing: border-box; padding: 1px 6px 4px; white-space: normal;
  color: var(--jp-error-color1); }
.book-grid td.doubt div { color: var(--jp-content-font-color1); border-left: 4px solid var(--jp-warn-color1); }
.book-lost { padding: 4px 8px; border: 2px solid var(--jp-error-color1); color: var(--jp-error-color1); }`;
const PATIENCE = 8000; // ms: a kernel that says nothing for so long is gone, or busy with something else

function render({ model, el }) {
  const style = document.createElement("style");
  style.textContent = STYLE;
  const lost = document.createElement("div");
  lost.className = "book-lost";
  lost.setAttribute("role", "alert");
  lost.hidden = true;
  lost.textContent = "What you typed last has not been kept: the kernel does not answer. If it was stopped, copy what you need and "
    + "choose Run, then Run All Cells.";
  const box = document.createElement("div");
  box.className = "book-grid";
  const table = document.createElement("table");
  const head = table.createTHead();
  const body = table.createTBody();
  box.append(table);
  el.append(style, lost, box);
  const lines = []; // by row: its <tr>, its inputs, its worked cells, and the sentences under it
  let sent = model.get("received"); // counted, so that a message that nobody received is noticed

  function send(row, column, value, paste) {
    const count = sent = Math.max(sent, model.get("received")) + 1;
    const missed = () => { if (model.get("received") < count) lost.hidden = false; };
    try {
      model.send({ row, column, value, paste: Boolean(paste), count });
      setTimeout(missed, PATIENCE);
    } catch {
      missed();
    }
  }

  const locked = (column) => model.get("locked").includes(column);
  const filled = () => model.get("locked").length > 0; // a page with as many rows as it has
  const open = () => Math.max(model.get("headings").findIndex((_, column) => !locked(column)), 0);

  function addLine() {
    const row = lines.length;
    const tr = body.insertRow();
    const number = tr.insertCell();
    number.className = "number";
    number.textContent = row + 1;
    const inputs = model.get("headings").map((heading, column) => {
      const input = document.createElement("input");
      input.setAttribute("aria-label", `row ${row + 1}, ${heading}`);
      input.style.width = `${model.get("widths")[column]}em`;
      input.autocomplete = "off";
      input.spellcheck = false;
      input.committed = "";
      if (locked(column)) {
        input.readOnly = true;
        input.tabIndex = -1;
      }
      const commit = () => {
        if (input.value !== input.committed) {
          input.committed = input.value;
          send(row, column, input.value);
        }
      };
      input.addEventListener("focus", () => { model.set("row", row); model.save_changes(); });
      input.addEventListener("input", () => { if (row === lines.length - 1 && !filled()) addLine(); });
      input.addEventListener("change", commit);
      input.addEventListener("paste", (event) => {
        const text = event.clipboardData.getData("text/plain").replace(/[\r\n]+$/, "");
        if (/[\t\r\n]/.test(text)) {
          event.preventDefault();
          send(row, column, text, true);
        }
      });
      input.addEventListener("keydown", (event) => {
        const go = (to, at) => { if (lines[to]) { event.preventDefault(); commit(); lines[to].inputs[at].focus(); } };
        if (event.key === "Enter" && (event.ctrlKey || event.metaKey)) { // out of the grid, to what stands below it
          event.preventDefault();
          const after = [...document.querySelectorAll("select, button")].find(
            (one) => box.compareDocumentPosition(one) & Node.DOCUMENT_POSITION_FOLLOWING && one.offsetParent);
          after?.focus();
        } else if (event.key === "Enter") {
          if (row === lines.length - 1 && input.value && !filled()) addLine();
          go(row + 1, open());
        } else if (event.key === "ArrowDown") go(row + 1, column);
        else if (event.key === "ArrowUp") go(row - 1, column);
        else if (event.key === "Escape") input.value = input.committed;
      });
      tr.insertCell().append(input);
      return input;
    });
    const worked = model.get("worked_headings").map(() => {
      const cell = tr.insertCell();
      cell.className = "worked";
      return cell;
    });
    lines.push({ tr, inputs, worked, said: [] });
  }

  function build() {
    const at = focused();
    head.replaceChildren();
    body.replaceChildren();
    lines.length = 0;
    box.classList.toggle("filled", filled());
    const tr = head.insertRow();
    for (const heading of ["", ...model.get("headings"), ...model.get("worked_headings")]) {
      const th = document.createElement("th");
      th.scope = "col";
      th.textContent = heading;
      if (model.get("worked_headings").includes(heading)) th.className = "worked";
      tr.append(th);
    }
    fill();
    if (at) lines[Math.min(at.row, lines.length - 1)]?.inputs[Math.min(at.column, model.get("headings").length - 1)]?.focus();
  }

  function focused() {
    for (const [row, { inputs }] of lines.entries()) {
      const column = inputs.indexOf(document.activeElement);
      if (column >= 0) return { row, column };
    }
    return null;
  }

  function fill() {
    if (model.get("received") < sent) return; // a table made before the kernel had heard all would take back what was typed since
    const cells = model.get("cells");
    const busy = (line) => line.inputs.some((input) => input === document.activeElement || input.value !== input.committed);
    const count = cells.length + (filled() ? 0 : 1);
    while (lines.length < count) addLine();
    while (lines.length > count && !busy(lines.at(-1))) {
      const line = lines.pop();
      line.said.forEach((tr) => tr.remove());
      line.tr.remove();
    }
    lines.forEach(({ inputs }, row) => inputs.forEach((input, column) => {
      const value = cells[row]?.[column] ?? "";
      const typing = input === document.activeElement && input.value !== input.committed;
      if (!typing && input.value !== value) input.value = value;
      input.committed = value;
    }));
    mark();
  }

  function mark() {
    const worked = model.get("worked");
    lines.forEach((line, row) => {
      line.worked.forEach((cell, place) => {
        const value = worked[row]?.[place] ?? "";
        if (cell.textContent !== value) cell.textContent = value;
      });
      if (line.said.length) {
        line.inputs.forEach((input) => { input.removeAttribute("aria-invalid"); input.className = ""; });
        line.said.splice(0).forEach((tr) => tr.remove());
      }
    });
    for (const { row, column, said, doubt } of model.get("marks")) {
      const line = lines[row];
      if (!line) continue;
      const input = line.inputs[column];
      if (input && doubt) input.className = "doubtful";
      else if (!doubt) (input ?? line.inputs[0])?.setAttribute("aria-invalid", "true");
      const tr = document.createElement("tr");
      const cell = tr.insertCell();
      cell.colSpan = 1 + line.inputs.length + line.worked.length;
      cell.className = doubt ? "said doubt" : "said";
      const sentence = document.createElement("div");
      sentence.style.maxWidth = `${Math.max(box.clientWidth, 300)}px`;
      sentence.textContent = said;
      cell.append(sentence);
      (line.said.at(-1) ?? line.tr).after(tr);
      line.said.push(tr);
    }
  }

  model.on("change:headings change:worked_headings change:locked", build);
  model.on("change:cells", fill);
  model.on("change:worked change:marks", mark);
  if (!box.clientWidth) requestAnimationFrame(() => mark()); // its width is known once it stands on the page
  model.on("change:received", () => { if (model.get("received") >= sent) lost.hidden = true; });
  build();
}

export default { render };
