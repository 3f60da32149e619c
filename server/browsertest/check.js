// What every page is held to, whatever it shows. Put into each page as window.brakewrightCheck; every function gives a list of
// complaints in words, empty when all is well.
(() => {
  const name = (el) => {
    const text = (el.getAttribute("aria-label") || el.textContent || "").replace(/\s+/g, " ").trim().slice(0, 40);
    return `<${el.localName}${el.id ? "#" + el.id : ""}${el.name ? " name=" + el.name : ""}${text ? " “" + text + "”" : ""}>`;
  };
  const shown = (el) => el.checkVisibility({ checkOpacity: true, checkVisibilityCSS: true }) && el.getClientRects().length > 0;
  const hiddenFromEyes = (el) => !!el.closest(".hidden, .skip");
  const all = (selector) => [...document.querySelectorAll(selector)];
  const controls = "input:not([type=hidden]), select, textarea";
  const focusable = () => all("a[href], button, summary, " + controls).filter((el) => shown(el) && !el.disabled && el.tabIndex >= 0);

  // What is looked at has a state: the same page with other kinds of things on it is looked at again.
  const signature = () => {
    const kinds = new Set(all("main *").map((el) => el.localName + "." + el.className));
    return [...kinds].sort().join(" ");
  };

  const structure = () => {
    const out = [];
    if (document.documentElement.lang !== "en") out.push(`html has lang “${document.documentElement.lang}”`);
    if (!document.title.trim()) out.push("the page has no title");
    const ones = all("h1").filter(shown);
    if (ones.length !== 1) out.push(`${ones.length} headings of the first rank: ${ones.map(name)}`);
    let last = 0;
    for (const h of all("h1, h2, h3, h4, h5, h6").filter(shown)) {
      const rank = +h.localName[1];
      if (last && rank > last + 1) out.push(`${name(h)} follows a heading of rank ${last}`);
      last = rank;
    }
    const ids = {};
    for (const el of all("[id]")) {
      if (ids[el.id]) out.push(`the id “${el.id}” stands twice`);
      ids[el.id] = true;
    }
    for (const el of all("[aria-labelledby], [aria-describedby], label[for], [aria-controls]")) {
      for (const a of ["aria-labelledby", "aria-describedby", "for", "aria-controls"]) {
        for (const id of (el.getAttribute(a) || "").split(/\s+/).filter(Boolean)) if (!ids[id]) out.push(`${name(el)}: ${a} names “${id}”, which is not there`);
      }
    }
    for (const el of all(controls)) {
      const words = [...(el.labels || [])].map((l) => l.textContent.trim()).join("") || el.getAttribute("aria-label");
      if (!words) out.push(`${name(el)} has no label`);
      if (el.getAttribute("aria-invalid") === "true" && !el.getAttribute("aria-describedby")) out.push(`${name(el)} is marked wrong, but nothing says why`);
    }
    for (const el of all("button, a[href], summary")) {
      const text = el.textContent.trim() || el.getAttribute("aria-label") || [...el.querySelectorAll("img")].map((i) => i.alt).join("").trim();
      if (!text) out.push(`${name(el)} has no words`);
    }
    const spoken = {}; // of two buttons that read the same, something must say which is which
    for (const el of all("main button, main summary").filter(shown)) {
      const key = el.localName + "|" + (el.getAttribute("aria-label") || el.textContent).trim() + "|" + (el.getAttribute("aria-describedby") || "");
      if (spoken[key]) out.push(`two of ${name(el)}, and nothing says which is which`);
      spoken[key] = true;
    }
    for (const el of all("img:not([alt])")) out.push(`${name(el)} has no alternative text: ${el.src}`);
    for (const el of all("fieldset")) if (!el.querySelector(":scope > legend")) out.push(`${name(el)} has no legend`);
    for (const el of all("table")) if (!el.querySelector("th")) out.push(`${name(el)} has no headings`);
    for (const el of all("[style], script:not([src])")) out.push(`${name(el)} carries style or script in the page`);
    for (const el of all("li")) if (!el.parentElement.matches("ul, ol, menu")) out.push(`${name(el)} stands outside a list`);
    const groups = {};
    for (const el of all("nav, [role=navigation]")) {
      const label = el.getAttribute("aria-label") || "";
      if (groups[label]) out.push(`two navigations are called “${label}”`);
      groups[label] = true;
    }
    return out;
  };

  const overflow = () => {
    const page = document.scrollingElement, out = [];
    if (page.scrollWidth <= innerWidth) return out;
    const wide = all("body *").filter((el) => shown(el) && !hiddenFromEyes(el) && el.getBoundingClientRect().right > innerWidth + 0.5);
    const inner = wide.filter((el) => !wide.some((o) => o !== el && el.contains(o)));
    out.push(`the page is ${page.scrollWidth} px wide in a window of ${innerWidth}: ${inner.slice(0, 4).map(name).join(", ")}`);
    return out;
  };

  // WCAG 2.2: 2.5.8 asks 24 px of everything but links in running text. In the bay big buttons are asked.
  const targets = (big) => {
    const out = [];
    for (const el of focusable()) {
      if (hiddenFromEyes(el)) continue;
      const box = (el.matches("input[type=radio], input[type=checkbox]") && el.labels[0] || el).getBoundingClientRect();
      const inline = el.localName === "a" && getComputedStyle(el).display === "inline";
      const least = big && el.matches("main button, main .button, main select, main summary, main input:not([type=radio], [type=checkbox]), main .option") ? 44 : inline ? 0 : 24;
      if (box.height < least - 0.5 || box.width < Math.min(least, 24) - 0.5) out.push(`${name(el)} is ${Math.round(box.width)} × ${Math.round(box.height)} px`);
    }
    return out;
  };

  const parse = (c) => (c.match(/[\d.]+/g) || []).map(Number);
  const over = (top, under) => top.slice(0, 3).map((v, i) => v * (top[3] ?? 1) + under[i] * (1 - (top[3] ?? 1)));
  const ground = (el) => {
    const layers = [];
    for (let e = el; e; e = e.parentElement) {
      const c = parse(getComputedStyle(e).backgroundColor);
      if (c.length === 4 && c[3] === 0) continue;
      layers.push(c);
      if (c.length < 4 || c[3] === 1) break;
    }
    return layers.reverse().reduce((under, top) => over(top, under), matchMedia("(prefers-color-scheme: dark)").matches ? [18, 18, 18] : [255, 255, 255]);
  };
  const light = (c) => {
    const [r, g, b] = c.map((v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ratio = (a, b) => { const [x, y] = [light(a), light(b)].sort((p, q) => q - p); return (x + 0.05) / (y + 0.05); };

  // WCAG 1.4.3 for text, 1.4.11 for the edges of fields.
  const contrast = () => {
    const out = new Set();
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    for (let n = walk.nextNode(); n; n = walk.nextNode()) {
      const el = n.parentElement;
      if (!n.data.trim() || !shown(el) || hiddenFromEyes(el) || el.closest(":disabled, script, style, option")) continue;
      const style = getComputedStyle(el), under = ground(el);
      const size = parseFloat(style.fontSize), large = size >= 24 || size >= 18.66 && +style.fontWeight >= 700;
      const r = ratio(over(parse(style.color), under), under);
      if (r < (large ? 3 : 4.5) - 0.005) out.add(`${name(el)} has contrast ${r.toFixed(2)}`);
    }
    for (const el of all(controls).filter((e) => shown(e) && !e.matches("[type=radio], [type=checkbox]"))) {
      const r = ratio(parse(getComputedStyle(el).borderTopColor), ground(el.parentElement));
      if (r < 3) out.add(`the edge of ${name(el)} has contrast ${r.toFixed(2)}`);
    }
    return [...out];
  };

  // Everything that takes the focus shows it by an outline of 2 px or more (WCAG 2.4.7, 2.4.13).
  const focus = () => {
    const out = [], before = document.activeElement;
    for (const el of focusable()) {
      el.focus({ focusVisible: true, preventScroll: true });
      if (document.activeElement !== el) { out.push(`${name(el)} does not take the focus`); continue; }
      const style = getComputedStyle(el);
      if (!el.matches(":focus-visible")) out.push(`${name(el)} is not known to be in focus`);
      else if (style.outlineStyle === "none" || parseFloat(style.outlineWidth) < 2) out.push(`${name(el)} does not show that it has the focus`);
    }
    if (before && before !== document.body) before.focus({ preventScroll: true }); else document.activeElement.blur();
    return out;
  };

  // Where the focus stands now, for somebody who uses the keyboard alone: shown, and not under something sticky.
  const focusSeen = () => {
    const el = document.activeElement;
    if (!el || el === document.body || el === document.documentElement) return [];
    const box = el.getBoundingClientRect(), style = getComputedStyle(el), out = [];
    if (style.outlineStyle === "none" && el.id !== "main") out.push(`${name(el)} does not show that it has the focus`);
    const points = [0.1, 0.5, 0.9].flatMap((x) => [0.1, 0.5, 0.9].map((y) => [box.left + box.width * x, box.top + box.height * y]));
    const top = points.some(([x, y]) => { const hit = document.elementFromPoint(x, y); return hit && (el.contains(hit) || hit.contains(el) || hit.closest("label")?.control === el); });
    if (!top) out.push(`${name(el)} has the focus but is out of sight`);
    return out;
  };

  // Nothing may stick out of what cuts it off, and nothing of a lesson should have to be pushed sideways.
  const cut = () => {
    const out = [];
    for (const el of all("main *")) {
      if (!shown(el) || hiddenFromEyes(el) || el.matches("thead, thead *, input, textarea, pre, select")) continue;
      const flow = getComputedStyle(el).overflowX;
      if (flow !== "visible" && el.scrollWidth > el.clientWidth + 1) out.push(`${name(el)} is ${el.scrollWidth} px wide in ${el.clientWidth}`);
      if (el.parentElement && el.matches("td, th, p, li, dd") && el.getBoundingClientRect().right > innerWidth + 0.5) out.push(`${name(el)} leaves the window`);
    }
    return out;
  };

  // The smallest word that a drawing may show, in pixels of the screen.
  const smallest = 9;
  const words = (svg) => [...svg.querySelectorAll("text")];

  // The drawings of a page: as wide as they can be, and loaded.
  const drawings = () => all("main img").filter((i) => i.src.endsWith(".svg") && i.naturalWidth && i.getBoundingClientRect().width < Math.min(innerWidth, 660) - 2)
    .map((i) => `${i.src} is shown ${Math.round(i.getBoundingClientRect().width)} px wide`);

  // One drawing, laid out at its own size.
  const drawing = (source) => {
    const out = [], phone = 360;
    document.body.innerHTML = source;
    const svg = document.querySelector("svg"), [, , w, h] = svg.getAttribute("viewBox").split(" ").map(Number);
    svg.setAttribute("width", w);
    svg.setAttribute("height", h);
    const frame = svg.getBoundingClientRect();
    const box = (el) => {
      const b = el.getBoundingClientRect();
      return { left: b.left - frame.left, right: b.right - frame.left, top: b.top - frame.top, bottom: b.bottom - frame.top };
    };
    const inside = (b, by) => b.left >= by && b.top >= by && b.right <= w - by && b.bottom <= h - by;
    const apart = (a, b) => a.right <= b.left || b.right <= a.left || a.bottom <= b.top || b.bottom <= a.top;
    const things = [];
    for (const text of words(svg)) {
      const px = parseFloat(getComputedStyle(text).fontSize) * phone / w, b = box(text);
      const pad = (b.bottom - b.top) * 0.2; // a line's box is higher than its letters
      b.top += pad;
      b.bottom -= pad;
      if (px < smallest) out.push(`“${text.textContent}” is ${px.toFixed(1)} px high on a phone`);
      if (!inside(b, 0)) out.push(`“${text.textContent}” leaves the drawing`);
      const callout = text.closest(".callout");
      if (!callout) things.push({ what: `“${text.textContent}”`, b });
    }
    for (const c of svg.querySelectorAll(".callout")) {
      const [ring] = [...c.querySelectorAll("circle")].filter((e) => !e.matches(".dot")), dot = c.querySelector(".dot"), number = c.querySelector("text").textContent;
      if (!ring || !dot) { out.push(`callout ${number} lacks its ring or its dot`); continue; }
      const b = box(ring), t = box(c.querySelector("text"));
      if (!inside(b, 1)) out.push(`callout ${number} leaves the drawing`);
      if (!inside(box(dot), 0)) out.push(`callout ${number} points outside`);
      if (t.left < b.left || t.right > b.right) out.push(`the number of callout ${number} is wider than its ring`);
      things.push({ what: `callout ${number}`, b });
    }
    for (let i = 0; i < things.length; i++) for (let k = i + 1; k < things.length; k++) {
      if (!apart(things[i].b, things[k].b)) out.push(`${things[i].what} lies over ${things[k].what}`);
    }
    for (const el of svg.querySelectorAll("path, rect, circle, ellipse, line, polygon")) {
      if (!inside(box(el), -1)) out.push(`${el.outerHTML.slice(0, 90)} leaves the drawing`);
    }
    const numbers = [...svg.querySelectorAll(".callout text")].map((e) => e.textContent);
    if (numbers.join() !== numbers.map((_, i) => i + 1).join()) out.push(`callouts are ${numbers}, not 1 to ${numbers.length} in order`);
    return out;
  };

  window.brakewrightCheck = { signature, structure, overflow, targets, contrast, focus, focusSeen, cut, drawings, drawing, name };
})();
