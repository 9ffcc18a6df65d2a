// A table that is typed into like a book: Tab to the next cell, Enter to the next row, a new row below the last.
// Every cell that is left changed goes to the kernel as a message of its own, so that none overtakes another.
const STYLE = `
.book-grid { overflow: auto; max-height: 32em; padding-bottom: 12px; scroll-padding-right: 11em; }
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
.book-grid td.said { padding: 1px 6px 4px; color: var(--jp-error-color1); white-space: normal; }
.book-grid td.doubt { color: var(--jp-warn-color0, var(--jp-content-font-color1)); }`;

function render({ model, el }) {
  const box = document.createElement("div");
  box.className = "book-grid";
  const style = document.createElement("style");
  style.textContent = STYLE;
  const table = document.createElement("table");
  const head = table.createTHead();
  const body = table.createTBody();
  box.append(style, table);
  el.append(box);
  const lines = []; // by row: its <tr>, its inputs, its worked cells, and the sentences under it

  const send = (row, column, value, paste) => model.send({ row, column, value, paste: Boolean(paste) });

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
      const commit = () => {
        if (input.value !== input.committed) {
          input.committed = input.value;
          send(row, column, input.value);
        }
      };
      input.addEventListener("input", () => { if (row === lines.length - 1) addLine(); });
      input.addEventListener("change", commit);
      input.addEventListener("paste", (event) => {
        const text = event.clipboardData.getData("text/plain").replace(/[\r\n]+$/, "");
        if (/[\t\r\n]/.test(text)) {
          event.preventDefault();
          send(row, column, text, true);
        }
      });
      input.addEventListener("keydown", (event) => {
        event.stopPropagation(); // JupyterLab's own keys would move to another cell of the notebook
        const go = (to, at) => { if (lines[to]) { event.preventDefault(); commit(); lines[to].inputs[at].focus(); } };
        if (event.key === "Enter") {
          if (row === lines.length - 1 && input.value) addLine();
          go(row + 1, 0);
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
    head.replaceChildren();
    body.replaceChildren();
    lines.length = 0;
    const tr = head.insertRow();
    for (const heading of ["", ...model.get("headings"), ...model.get("worked_headings")]) {
      const th = document.createElement("th");
      th.scope = "col";
      th.textContent = heading;
      if (model.get("worked_headings").includes(heading)) th.className = "worked";
      tr.append(th);
    }
    fill();
  }

  function fill() {
    const cells = model.get("cells");
    while (lines.length < cells.length + 1) addLine();
    while (lines.length > cells.length + 1 && !lines.at(-1).inputs.some((input) => input.value && input === document.activeElement)
           && !lines.at(-1).inputs.some((input) => input.value !== input.committed)) {
      const line = lines.pop();
      line.said.forEach((tr) => tr.remove());
      line.tr.remove();
    }
    lines.forEach(({ inputs }, row) => inputs.forEach((input, column) => {
      const value = cells[row]?.[column] ?? "";
      const typing = input === document.activeElement && input.value !== input.committed;
      if (!typing) input.value = value;
      input.committed = value;
    }));
    mark();
  }

  function mark() {
    lines.forEach(({ inputs, worked, said }, row) => {
      inputs.forEach((input) => { input.removeAttribute("aria-invalid"); input.removeAttribute("title"); });
      worked.forEach((cell, place) => { cell.textContent = model.get("worked")[row]?.[place] ?? ""; });
      said.splice(0).forEach((tr) => tr.remove());
    });
    for (const { row, column, said, doubt } of model.get("marks")) {
      const line = lines[row];
      if (!line) continue;
      const input = line.inputs[Math.max(column, 0)];
      if (input && !doubt) { input.setAttribute("aria-invalid", "true"); input.title = said; }
      const tr = document.createElement("tr");
      const cell = tr.insertCell();
      cell.colSpan = 1 + line.inputs.length + line.worked.length;
      cell.className = doubt ? "said doubt" : "said";
      cell.textContent = said;
      (line.said.at(-1) ?? line.tr).after(tr);
      line.said.push(tr);
    }
  }

  model.on("change:headings change:worked_headings", build);
  model.on("change:cells", fill);
  model.on("change:worked change:marks", mark);
  build();
}

export default { render };
