"""What a page shows that cannot be read: words that are cut off, that lie over each other, that are too faint."""

from __future__ import annotations

from typing import Any

from lab import DARK, LIGHT, NARROW, WIDE, Desk

LEAST, LEAST_LARGE = 4.5, 3.0  # contrast, WCAG 2.1, success criterion 1.4.3, level AA; large is 24 px, or 18.66 px and bold
ROOM = 1  # px: letters may reach so far beyond their box by rounding

_SHARED = r"""
const shown = (one) => one.checkVisibility({ visibilityProperty: true, opacityProperty: true })
  && one.getClientRects().length && !one.closest('.visually-hidden');
const words = (one) => [...one.childNodes].filter((part) => part.nodeType === 3).map((part) => part.textContent).join(' ')
  .replace(/\s+/g, ' ').trim();
const typed = (one) => one.tagName === 'SELECT' ? [...one.options].map((option) => option.text)
  : one.matches('textarea, input:not([type=checkbox], [type=range])') ? [one.value || one.placeholder] : null;
const told = (one) => (typed(one) ?? [words(one)]).find((text) => text) ?? '';
const speaking = (root) => [root, ...root.querySelectorAll('*')].filter(
  (one) => !one.closest('svg, style, option, .jp-OutputPrompt') && told(one) && shown(one));
const outputs = () => [...document.querySelectorAll(ROOTS)].filter((one) => shown(one) && !one.parentElement.closest(ROOTS));
const form = (one) => one.matches('input, select, textarea');
const pen = document.createElement('canvas').getContext('2d');
const long = (one, text) => { const drawn = getComputedStyle(one);
  pen.font = `${drawn.fontWeight} ${drawn.fontSize} ${drawn.fontFamily}`; return pen.measureText(text).width; };
const letters = (one) => [...one.childNodes].filter((part) => part.nodeType === 3 && part.textContent.trim()).flatMap((part) => {
  const range = document.createRange(); range.selectNodeContents(part); return [...range.getClientRects()]; });
"""

# A field is as long as its longest words, unless it takes the whole width already, where a long list scrolls as it is typed.
# Other words are looked for beyond every box around them that hides what leaves it. A box that scrolls hides nothing; a form
# that has to be scrolled sideways as a whole is too wide.
_CUT = _SHARED + r"""
const found = [];
for (const root of outputs()) {
  if (root.querySelector('.jupyter-widgets') && root.scrollWidth > root.clientWidth + ROOM)
    found.push(`the form is ${root.scrollWidth} px wide in ${root.clientWidth} px: ${root.innerText.slice(0, 60)}`);
  for (const one of speaking(root)) {
    const drawn = getComputedStyle(one);
    if (form(one)) {
      if (one.tagName === 'TEXTAREA' || (one.closest('.book-grid') && !one.readOnly)) continue; // they wrap, or scroll on typing
      const room = one.clientWidth - parseFloat(drawn.paddingLeft) - parseFloat(drawn.paddingRight);
      const whole = (one.closest('.widget-text, .widget-combobox') ?? one).offsetWidth > 0.97 * root.clientWidth;
      for (const text of typed(one)) if (long(one, text) > room + ROOM && !(whole && one.tagName === 'INPUT'))
        found.push(`${one.tagName.toLowerCase()} has ${Math.round(room)} px for ${Math.round(long(one, text))}: ${text}`);
      continue;
    }
    let missing = 0;
    for (const box of letters(one)) {
      let left = box.left, right = box.right, top = box.top, bottom = box.bottom;
      for (let around = one; around && around !== root.parentElement; around = around.parentElement) {
        const edge = around.getBoundingClientRect(), style = getComputedStyle(around);
        const inner = { left: edge.left + around.clientLeft, right: edge.left + around.clientLeft + around.clientWidth };
        if (style.display === 'inline') continue;
        if (['auto', 'scroll'].includes(style.overflowX)) break;
        if (['hidden', 'clip'].includes(style.overflowX)) {
          missing = Math.max(missing, right - inner.right, inner.left - left);
          const line = (bottom - top) * 0.25; // room above and under the letters
          missing = Math.max(missing, bottom - edge.bottom - line, edge.top - top - line);
        }
        if (around === root) missing = Math.max(missing, right - edge.right);
      }
    }
    if (missing > ROOM) found.push(`${Math.round(missing)} px cut off: ${words(one)}`);
  }
}
return found;
"""

# Cells that stay in sight while a table is scrolled under them lie over others on purpose.
_OVER = _SHARED + r"""
const seen = (box, one, root) => { let { left, right, top, bottom } = box;
  for (let around = one; around !== root.parentElement; around = around.parentElement)
    if (getComputedStyle(around).overflowX !== 'visible' && getComputedStyle(around).display !== 'inline') {
      const edge = around.getBoundingClientRect();
      [left, right] = [Math.max(left, edge.left), Math.min(right, edge.right)];
      [top, bottom] = [Math.max(top, edge.top), Math.min(bottom, edge.bottom)];
    }
  return { left, right, top, bottom }; };
const found = [];
for (const root of outputs()) {
  const all = speaking(root).filter((one) => getComputedStyle(one).position !== 'sticky' && !one.closest('.book-grid'))
    .flatMap((one) => (form(one) ? [one.getBoundingClientRect()] : letters(one)).map((box) => [one, box]))
    .map(([one, box]) => ({ one, box: seen(box, one, root) }))
    .sort((a, b) => a.box.top - b.box.top);
  all.forEach(({ one, box }, at) => {
    for (let next = at + 1; next < all.length && all[next].box.top < box.bottom - 3; next++) {
      const { one: other, box: its } = all[next];
      const wide = Math.min(box.right, its.right) - Math.max(box.left, its.left);
      const high = Math.min(box.bottom, its.bottom) - Math.max(box.top, its.top);
      if (wide > 3 && high > 3 && one !== other && !one.contains(other) && !other.contains(one))
        found.push(`${told(one).slice(0, 60)} | ${told(other).slice(0, 60)}`);
    }
  });
}
return found;
"""

# The colour of a text against the first thing behind it that lets nothing through; what is disabled need not be read.
_FAINT = _SHARED + r"""
pen.canvas.width = pen.canvas.height = 1;
const parsed = (colour) => { pen.clearRect(0, 0, 1, 1); pen.globalCompositeOperation = 'copy'; pen.fillStyle = colour;
  pen.fillRect(0, 0, 1, 1); const [r, g, b, a] = pen.getImageData(0, 0, 1, 1).data; return [r, g, b, a / 255]; };
const over = ([r, g, b, a], under) => [r, g, b].map((part, at) => part * a + under[at] * (1 - a));
const behind = (one) => { const layers = []; for (let at = one; at; at = at.parentElement) {
  const colour = parsed(getComputedStyle(at).backgroundColor); layers.push(colour); if (colour[3] > 0.99) break; }
  return layers.reverse().reduce((under, layer) => over(layer, under), [255, 255, 255]); };
const part = (share) => share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
const light = ([r, g, b]) => 0.2126 * part(r / 255) + 0.7152 * part(g / 255) + 0.0722 * part(b / 255);
const found = [];
for (const root of outputs()) for (const one of speaking(root)) {
  if (one.matches(':disabled') || one.closest('.disabled, [disabled]')) continue;
  const empty = form(one) && one.tagName !== 'SELECT' && !one.value;
  const drawn = getComputedStyle(one), lettered = empty ? getComputedStyle(one, '::placeholder') : drawn;
  const colour = parsed(lettered.color), ground = behind(one);
  for (let at = one; at && at !== document.body; at = at.parentElement) colour[3] *= parseFloat(getComputedStyle(at).opacity);
  if (empty) colour[3] *= parseFloat(lettered.opacity);
  const [less, more] = [light(over(colour, ground)), light(ground)].sort((a, b) => a - b);
  const ratio = (more + 0.05) / (less + 0.05), size = parseFloat(drawn.fontSize);
  const large = size >= 24 || (size >= 18.66 && parseInt(drawn.fontWeight) >= 700);
  if (ratio < (large ? LEAST_LARGE : LEAST))
    found.push(`${ratio.toFixed(2)}:1, ${lettered.color} on rgb(${ground.map(Math.round)}): ${told(one).slice(0, 80)}`);
}
return found;
"""
HURRIED = "[anywidget] Failed to initialize model"  # it gives each widget two seconds: a busy machine may take longer
ROOTS = ".jp-OutputArea-output"


def _looked(page: Any, script: str) -> list[str]:
    said = f"const ROOTS = '{ROOTS}', ROOM = {ROOM}, LEAST = {LEAST}, LEAST_LARGE = {LEAST_LARGE};"
    return list(dict.fromkeys(page.evaluate(f"() => {{ {said}\n{script} }}")))


def cut_off(page: Any) -> list[str]:
    """Words in outputs that a box cuts off, fields too short for their words, forms wider than their place."""
    return _looked(page, _CUT)


def over_each_other(page: Any) -> list[str]:
    """Pairs of words in outputs that lie over each other."""
    return _looked(page, _OVER)


def faint(page: Any) -> list[str]:
    """Words in outputs whose contrast to what is behind them is less than it must be."""
    return _looked(page, _FAINT)


def unreadable(page: Any) -> list[str]:
    """All of it."""
    return [*cut_off(page), *over_each_other(page), *faint(page)]


def problems_of(desk: Desk, name: str) -> list[str]:
    """Everything that goes wrong with a notebook that is opened, run and looked at, wide and narrow, light and dark."""
    desk.open(name)
    numbers = desk.run_all()
    if any(HURRIED in error for error in desk.errors):
        desk.open(name)
        numbers = desk.run_all()
    found = [] if numbers == list(range(1, len(numbers) + 1)) else [f"the cells are numbered {numbers}"]
    found += [f"an error under a cell: {said}" for said in desk.cell_errors()]
    for theme in (LIGHT, DARK):
        desk.theme(theme)
        for width in (WIDE, NARROW):
            desk.width(width)
            found += [f"{theme}, {width} px: {said}" for said in unreadable(desk.page)]
    desk.theme(LIGHT)
    desk.width(WIDE)
    return [*found, *(f"an error of the page: {said}" for said in desk.errors),
            *(f"asked for outside: {address}" for address in desk.asked_outside)]
