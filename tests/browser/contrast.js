// Contrast of everything visible by WCAG 2.2, 1.4.3 (text 4.5 to 1, large text 3 to 1) and 1.4.11 (edges of fields 3 to 1):
// ratios from computed colours, laid over whatever lies behind. Returns one line for each that falls short.
() => {
  const canvas = document.createElement("canvas"); canvas.width = canvas.height = 1;
  const pen = canvas.getContext("2d", { willReadFrequently: true });
  const known = new Map(); // few colours stand behind thousands of texts
  const rgba = (text) => {
    if (!known.has(text)) known.set(text, drawn(text));
    return [...known.get(text)];
  };
  const drawn = (text) => {
    pen.clearRect(0, 0, 1, 1); pen.fillStyle = "rgba(0,0,0,0)"; pen.fillStyle = text; pen.fillRect(0, 0, 1, 1);
    const [r, g, b, a] = pen.getImageData(0, 0, 1, 1).data; return [r, g, b, a / 255];
  };
  const over = (top, under) => { const a = top[3]; return [0, 1, 2].map((i) => top[i] * a + under[i] * (1 - a)).concat(1); };
  const light = (c) => { const [r, g, b] = c.map((v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const ratio = (a, b) => { const [x, y] = [light(a), light(b)]; return (Math.max(x, y) + 0.05) / (Math.min(x, y) + 0.05); };
  const inside = (box, at) => { const b = at.getBoundingClientRect(); const x = box.left + box.width / 2, y = box.top + box.height / 2;
    return b.left <= x && x <= b.right && b.top <= y && y <= b.bottom; };
  const backdrop = (el, box) => {
    const layers = [];
    const shapes = el.closest("svg") ? document.elementsFromPoint(box.left + box.width / 2, box.top + box.height / 2)
      .filter((at) => ["path", "rect"].includes(at.tagName) && at.closest("svg") === el.closest("svg")) : [];
    for (const at of shapes) {
      const own = getComputedStyle(at); const colour = rgba(own.fill === "none" ? "rgba(0,0,0,0)" : own.fill);
      colour[3] *= Number(own.fillOpacity) * Number(own.opacity); layers.push(colour);
    }
    for (let at = el; at; at = at.parentElement) {
      if (at !== document.body && at.parentElement && !inside(box, at)) continue;
      const colour = rgba(getComputedStyle(at).backgroundColor); layers.push(colour);
      if (colour[3] === 1) break;
    }
    return layers.reverse().reduce((under, top) => over(top, under), [255, 255, 255, 1]);
  };
  const opacity = (el) => { let all = 1; for (let at = el; at; at = at.parentElement) all *= Number(getComputedStyle(at).opacity); return all; };
  const seen = new Map();
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const el = node.parentElement;
    if (!node.textContent.trim() || !el || ["SCRIPT", "STYLE", "NOSCRIPT", "TITLE"].includes(el.tagName)) continue;
    if (!el.checkVisibility({ checkOpacity: true, checkVisibilityCSS: true })) continue;
    const box = el.getBoundingClientRect(); if (box.width < 2 || box.height < 2) continue;
    if (el.closest("canvas, [aria-hidden=true]:not([data-testid=stIconMaterial])")) continue;
    const style = getComputedStyle(el);
    const svg = el.closest("svg");
    const ink = rgba(svg ? style.fill : style.color);
    const off = el.closest("[disabled], [aria-disabled=true]");
    if (off) continue;
    ink[3] *= opacity(el);
    const ground = backdrop(el, box);
    const px = parseFloat(style.fontSize), bold = Number(style.fontWeight) >= 700;
    const large = px >= 24 || (bold && px >= 18.66) || el.closest("[data-testid=stIconMaterial]");
    const found = ratio(over(ink, ground), ground), least = large ? 3 : 4.5;
    if (found < least) {
      const where = el.closest("[data-testid]")?.dataset.testid ?? el.tagName;
      const key = where + " " + style.color + " on " + ground.map(Math.round).join();
      if (!seen.has(key)) seen.set(key, `${found.toFixed(2)} < ${least}: ${where} "${node.textContent.trim().slice(0, 30)}" ${svg ? style.fill : style.color} on ${ground.slice(0, 3).map(Math.round)}`);
    }
  }
  for (const field of document.querySelectorAll("input, textarea")) {
    const box = field.getBoundingClientRect();
    if (box.width < 20 || !field.checkVisibility({ checkOpacity: true, checkVisibilityCSS: true }) || field.disabled) continue;
    if (["checkbox", "radio", "file", "range", "date"].includes(field.type)) continue;
    const text = field.value ? getComputedStyle(field) : getComputedStyle(field, "::placeholder");
    const name = field.getAttribute("aria-label") ?? field.placeholder, ground = backdrop(field, box);
    if (field.value || field.placeholder) {
      const ink = rgba(text.color); ink[3] *= Number(text.opacity);
      const found = ratio(over(ink, ground), ground);
      if (found < 4.5) seen.set("in " + name, `${found.toFixed(2)} < 4.5: what stands in the field ${name}: ${text.color}`);
    }
    let edge = field;
    while (edge && parseFloat(getComputedStyle(edge).borderTopWidth) < 1) edge = edge.parentElement;
    if (!edge) continue;
    const under = backdrop(edge.parentElement, edge.getBoundingClientRect());
    const found = ratio(over(rgba(getComputedStyle(edge).borderTopColor), under), under);
    if (found < 3) seen.set("edge " + name, `${found.toFixed(2)} < 3: edge of the field ${name} (${edge.dataset.testid ?? edge.className})`);
  }
  for (const bar of document.querySelectorAll("[style*='--gdg-text-header']")) {
    const value = (name) => rgba(bar.style.getPropertyValue(name));
    const ground = value("--gdg-bg-header"), found = ratio(over(value("--gdg-text-header"), ground), ground);
    if (found < 4.5) seen.set("heads", `${found.toFixed(2)} < 4.5: heads of a table`);
  }
  return [...seen.values()];
}
