/* Elements, links and addresses on this page that were made of what the hostile names of samples_hostile.py say. */
() => {
  const found = [], own = location.origin;
  const say = (what, node) => found.push(`${what}: ${node.outerHTML.slice(0, 160)}`);
  const all = (query) => [...document.querySelectorAll(query)];
  for (const a of all("a[href]")) if (!a.href.startsWith(own + "/") && a.href !== own) say("link", a);
  for (const node of all("img, script[src], iframe, object, embed, source, image, use")) {
    const from = node.src || node.data || node.getAttribute("href") || "";
    if (/evil/.test(from) || (node.tagName === "IMG" && !from.startsWith(own) && !from.startsWith("data:"))) say("source", node);
    if (node.alt === "Streamlit logo") say("logo", node);
  }
  for (const node of all("style, script")) if (node.textContent === "*{}" ) say("style", node);
  const whole = { "STRONG": ["b"], "B": ["b"], "DEL": ["s"], "S": ["s"], "CODE": ["c"], "H1": ["head"], "LI": ["one"], "EM": ["x"] };
  for (const [tag, texts] of Object.entries(whole))
    for (const node of all(tag.toLowerCase())) if (texts.includes(node.textContent.trim())) say("mark", node);
  for (const node of all("[role=img], [data-testid=stIconMaterial]")) if (node.textContent.trim() === "home") say("icon", node);
  for (const node of all(".katex, .stMarkdownColoredText, [class*=colored]")) say("styled", node);
  for (const node of all("span[style*=color]")) if (node.textContent.trim() === "x") say("coloured", node);
  if (document.body.innerText.includes("\u2764")) found.push("emoji");
  return found;
}
