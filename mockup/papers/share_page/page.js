"use strict";
// The client's page: one stage on which all options lie, and the text of the choice.
// Without this script the page shows the same pictures one under the other.
(() => {
  const $ = (id) => document.getElementById(id);
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  const body = document.body, about = body.dataset;
  const stage = $("stage"), line = $("line"), options = all(".option");
  const sides = about.sides.split(" ");
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  const state = { at: 0, other: Math.min(1, options.length - 1), side: sides[0], two: false, split: 0.5, zoom: 1, x: 0, y: 0, lying: null, drag: 0, chosen: null };

  // -- the stage ---------------------------------------------------------------

  document.documentElement.classList.add("live");
  for (const part of [$("look"), $("choose"), document.querySelector(".skip"), ...all(".take")]) part.hidden = false;
  // Each picture is in the file once: it moves from its place among the words onto the stage.
  const panes = options.map((option, n) => {
    const pane = document.createElement("div"), sheet = document.createElement("div");
    pane.className = "pane";
    sheet.className = "sheet";
    for (const figure of all("figure", option))
      for (const picture of all("img", figure)) { picture.dataset.side = figure.dataset.side; sheet.append(picture); }
    pane.append(sheet);
    stage.insertBefore(pane, line);
    return { pane, sheet, pictures: all("img", sheet), title: option.dataset.title };
  });

  const shown = () => panes[state.at].pictures.find((p) => p.dataset.side === state.side);
  const size = () => ({ wide: Number(shown().getAttribute("width")), high: Number(shown().getAttribute("height")) });

  function fits() {
    const { wide, high } = size(), W = stage.clientWidth, H = stage.clientHeight;
    const upright = Math.min(W / wide, H / high), lying = Math.min(W / high, H / wide);
    const lie = state.lying === null ? lying > 1.25 * upright : state.lying;
    return { wide, high, W, H, lie, fit: lie ? lying : upright };
  }

  // Two screen pixels for one of the picture; more would show nothing new.
  const closest = (f) => Math.max(4, 2 / (f.fit * (window.devicePixelRatio || 1)));

  function keepInside(f) {
    state.zoom = Math.min(Math.max(state.zoom, 1), closest(f));
    const w = (f.lie ? f.high : f.wide) * f.fit * state.zoom, h = (f.lie ? f.wide : f.high) * f.fit * state.zoom;
    const x = Math.max(0, (w - f.W) / 2), y = Math.max(0, (h - f.H) / 2);
    state.x = Math.min(Math.max(state.x, -x), x);
    state.y = Math.min(Math.max(state.y, -y), y);
  }

  function draw(glide = false) {
    const f = fits(), dark = document.documentElement.dataset.surround === "dark";
    keepInside(f);
    panes.forEach(({ pane, sheet, pictures }, n) => {
      const seen = state.two ? n === state.at || n === state.other : Math.abs(n - state.at) <= 1;
      pane.style.visibility = seen ? "visible" : "hidden";
      pane.classList.toggle("glide", glide && !still.matches);
      pane.style.transform = state.two ? "none" : `translateX(${(n - state.at) * f.W + state.drag}px)`;
      const at = state.split * f.W;
      pane.style.clipPath = !state.two ? "none" : n === state.other ? `inset(0 0 0 ${at}px)` : `inset(0 ${f.W - at}px 0 0)`;
      const w = f.wide * f.fit, h = f.high * f.fit;
      Object.assign(sheet.style, { width: `${w}px`, height: `${h}px`, left: `${(f.W - w) / 2}px`, top: `${(f.H - h) / 2}px`,
        transform: `translate(${state.x}px, ${state.y}px) scale(${state.zoom}) rotate(${f.lie ? -90 : 0}deg)` });
      for (const p of pictures) {
        p.hidden = !seen || p.dataset.side !== state.side || (p.className === "dark" && !dark);
        // Only what is in the middle is read aloud.
        p.setAttribute("aria-hidden", String(p.hidden || p.className === "dark" || !(n === state.at || (state.two && n === state.other))));
      }
    });
    stage.classList.toggle("near", state.zoom > 1.01 || state.two);
    line.hidden = !state.two;
    line.style.left = `${state.split * 100}%`;
    line.setAttribute("aria-valuenow", String(Math.round(state.split * 100)));
    line.setAttribute("aria-valuetext", `${panes[state.at].title} on the left ${Math.round(state.split * 100)} %, ${panes[state.other].title} on the right`);
    // Not disabled: that would take the focus away from who zooms by keyboard.
    for (const [id, off] of [["smaller", state.zoom < 1.01], ["whole", state.zoom < 1.01], ["larger", state.zoom > closest(f) - 0.01]])
      $(id).setAttribute("aria-disabled", String(off));
    $("turn").setAttribute("aria-pressed", String(f.lie));
  }

  function show({ glide = false, say = true } = {}) {
    draw(glide);
    const words = state.two ? `${panes[state.at].title} and ${panes[state.other].title}` : panes[state.at].title;
    stage.setAttribute("aria-label", `Picture: ${words}, ${state.side}`);
    if (say) $("say").textContent = `${words}, ${state.side}`;
    options.forEach((option, n) => { option.hidden = !(n === state.at || (state.two && n === state.other)); });
    for (const tab of all(".tab")) tab.setAttribute("aria-pressed", String(Number(tab.dataset.at) === state.at));
    for (const button of all("#tools [data-side]")) {
      button.setAttribute("aria-pressed", String(button.dataset.side === state.side));
      button.disabled = !sides.includes(button.dataset.side);
    }
    $("compare").setAttribute("aria-pressed", String(state.two));
    $("beside").hidden = !state.two;
    for (const choice of $("other").options) choice.disabled = Number(choice.value) === state.at;
    $("other").value = String(state.other);
    const tags = all(".tag");
    [state.at, state.other].forEach((n, k) => { tags[k].hidden = !state.two; tags[k].textContent = panes[n].title; });
  }

  function go(n) {
    const to = Math.min(Math.max(n, 0), panes.length - 1);
    if (to === state.other) state.other = state.at === to ? (to + 1) % panes.length : state.at;
    state.at = to;
    state.drag = 0;
    show({ glide: true });
  }

  function zoomBy(factor, x = 0, y = 0) {
    const before = state.zoom;
    state.zoom = Math.min(Math.max(before * factor, 1), closest(fits()));
    const by = state.zoom / before;
    state.x = x - (x - state.x) * by;
    state.y = y - (y - state.y) * by;
    draw();
  }

  function whole() { Object.assign(state, { zoom: 1, x: 0, y: 0 }); draw(); }
  function flip(side) { state.side = side; show(); }

  // -- fingers and mouse ---------------------------------------------------------

  const down = new Map();
  let start = null, moved = false, tapped = { time: 0, x: 0, y: 0 };
  const middle = (e) => { const box = stage.getBoundingClientRect(); return { x: e.clientX - box.left - box.width / 2, y: e.clientY - box.top - box.height / 2 }; };

  function begin() {
    const points = [...down.values()];
    start = { x: state.x, y: state.y, zoom: state.zoom, split: state.split, points: points.map((p) => ({ ...p })), time: performance.now() };
  }

  stage.addEventListener("pointerdown", (e) => {
    if (e.button !== 0) return;
    if (line.contains(e.target)) start = null;
    down.set(e.pointerId, middle(e));
    try { stage.setPointerCapture(e.pointerId); } catch { /* it has gone already */ }
    moved = down.size > 1 || (moved && down.size > 1);
    begin();
    start.line = line.contains(e.target) && down.size === 1;
    if (down.size === 1) start.at = e.timeStamp;
  });

  stage.addEventListener("pointermove", (e) => {
    if (!down.has(e.pointerId) || !start) return;
    down.set(e.pointerId, middle(e));
    const points = [...down.values()], before = start.points;
    const dx = points[0].x - before[0].x, dy = points[0].y - before[0].y;
    if (Math.hypot(dx, dy) > 6) moved = true;
    if (points.length === 2 && before.length === 2) {
      const span = ([a, b]) => Math.max(1, Math.hypot(a.x - b.x, a.y - b.y)), mid = ([a, b]) => ({ x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 });
      const from = mid(before), to = mid(points);
      state.drag = 0;
      state.zoom = Math.min(Math.max(start.zoom * span(points) / span(before), 1), closest(fits()));
      const by = state.zoom / start.zoom;
      state.x = to.x - (from.x - start.x) * by;
      state.y = to.y - (from.y - start.y) * by;
    } else if (start.line || (state.two && state.zoom < 1.01)) {
      state.split = Math.min(Math.max(start.split + dx / stage.clientWidth, 0.02), 0.98);
    } else if (state.zoom > 1.01) {
      state.x = start.x + dx;
      state.y = start.y + dy;
    } else {
      const end = (state.at === 0 && dx > 0) || (state.at === panes.length - 1 && dx < 0);
      state.drag = end ? dx / 4 : dx;
    }
    draw();
  });

  function lift(e) {
    if (!down.has(e.pointerId)) return;
    const last = down.get(e.pointerId), was = start;
    down.delete(e.pointerId);
    if (down.size) { begin(); return; }
    const drag = state.drag, quick = was && e.timeStamp - (was.at || 0) < 300;
    if (drag && e.type !== "pointercancel" && (Math.abs(drag) > stage.clientWidth * 0.18 || (quick && Math.abs(drag) > 24))) go(state.at - Math.sign(drag));
    else if (drag) { state.drag = 0; draw(true); }
    if (!moved && e.type === "pointerup") {
      const near = Math.hypot(last.x - tapped.x, last.y - tapped.y) < 30;
      if (near && e.timeStamp - tapped.time < 350) {
        if (state.zoom > 1.01) whole(); else zoomBy(3, last.x, last.y);
        tapped = { time: 0, x: 0, y: 0 };
      } else tapped = { time: e.timeStamp, x: last.x, y: last.y };
    }
    moved = false;
    start = null;
  }
  stage.addEventListener("pointerup", lift);
  stage.addEventListener("pointercancel", lift);
  stage.addEventListener("wheel", (e) => {
    // The wheel scrolls the page; with Ctrl, which is what pinching a touch pad sends, it enlarges.
    if (!(e.ctrlKey || e.metaKey)) return;
    e.preventDefault();
    const at = middle(e);
    zoomBy(Math.exp(-e.deltaY / 200), at.x, at.y);
  }, { passive: false });

  // -- keys and buttons ------------------------------------------------------------

  stage.addEventListener("keydown", (e) => {
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const arrows = { ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[e.key];
    if (e.target === line && (e.key === "ArrowLeft" || e.key === "ArrowRight" || e.key === "Home" || e.key === "End")) {
      state.split = e.key === "Home" ? 0.02 : e.key === "End" ? 0.98 : Math.min(Math.max(state.split - arrows[0] * (e.shiftKey ? 0.1 : 0.02), 0.02), 0.98);
      draw();
    } else if (arrows && state.zoom > 1.01) {
      state.x += arrows[0] * 60;
      state.y += arrows[1] * 60;
      draw();
    } else if (e.key === "ArrowLeft" || e.key === "ArrowRight") {
      go(state.at - arrows[0]);
    } else if (e.key === "+" || e.key === "=") zoomBy(1.4);
    else if (e.key === "-") zoomBy(1 / 1.4);
    else if (e.key === "0") whole();
    else if (e.key.toLowerCase() === "f" && sides.length > 1) flip(sides[1 - sides.indexOf(state.side)]);
    else return;
    e.preventDefault();
  });
  for (const tab of all(".tab")) tab.addEventListener("click", () => go(Number(tab.dataset.at)));
  for (const button of all("#tools [data-side]")) button.addEventListener("click", () => flip(button.dataset.side));
  $("compare").addEventListener("click", () => { state.two = !state.two; state.split = 0.5; show(); });
  $("other").addEventListener("change", () => { state.other = Number($("other").value); show(); });
  $("larger").addEventListener("click", () => zoomBy(1.5));
  $("smaller").addEventListener("click", () => zoomBy(1 / 1.5));
  $("whole").addEventListener("click", whole);
  $("turn").addEventListener("click", () => { state.lying = !fits().lie; whole(); });
  $("dark").addEventListener("click", () => {
    const dark = document.documentElement.dataset.surround !== "dark";
    document.documentElement.dataset.surround = dark ? "dark" : "light";
    $("dark").setAttribute("aria-pressed", String(dark));
    draw();
  });
  const head = document.querySelector("header");
  new ResizeObserver(() => draw()).observe(stage);
  // On a wide screen the words scroll by under the heading and beside the stage.
  new ResizeObserver(() => document.documentElement.style.setProperty("--head", matchMedia("(min-width: 62rem)").matches ? `${head.offsetHeight}px` : "0px")).observe(head);

  // -- the text of the choice: as choice.py writes and reads it ---------------------------

  // What no mail program may change: letters, digits and accents, compatibility forms made plain.
  const core = (words) => [...words.normalize("NFKC")].filter((c) => /[\p{L}\p{N}\p{M}]/u.test(c) && !/[\ufe00-\ufe0f\u{e0100}-\u{e01ef}]/u.test(c))
    .map((c) => (c < "\u0080" ? c.toLowerCase() : c)).join("");

  function crc32(bytes) { // ISO/IEC/IEEE 8802-3, as in zlib
    let rest = 0xffffffff;
    for (const byte of bytes) {
      rest ^= byte;
      for (let bit = 0; bit < 8; bit++) rest = rest & 1 ? (rest >>> 1) ^ 0xedb88320 : rest >>> 1;
    }
    return (rest ^ 0xffffffff) >>> 0;
  }

  function check(...fields) {
    const code = crc32(new TextEncoder().encode(fields.map(core).join("|"))).toString(16).padStart(8, "0");
    return `${code.slice(0, 4)} ${code.slice(4)}`;
  }

  const plain = (words) => words.split(/\s+/).filter(Boolean).join(" ");

  function choiceText(option, name, date, comment) {
    const d = option.dataset, revision = about.revision || "none";
    const what = `${about.scene} / ${d.variant} / ${d.seen}`;
    const said = [d.instrument, revision, d.title, name, date, comment, what].map(plain);
    const labels = ["Instrument", "Revision", "Option", "Name", "Date", "Comment", "For"];
    return ["[my choice]", ...labels.map((label, n) => `${label}: ${said[n]}`.trimEnd()),
      `Check: ${check(said[0], said[1], said[2], said[6])} ${check(said[3], said[4], said[5])}`, "[end of my choice]"].join("\n") + "\n";
  }

  const today = () => { const d = new Date(), two = (n) => String(n).padStart(2, "0"); return `${d.getFullYear()}-${two(d.getMonth() + 1)}-${two(d.getDate())}`; };
  const radios = all("input[name=option]");

  function missing() {
    if (state.chosen === null) return ["Choose one of the options first.", radios[0]];
    if (!plain($("name").value)) return ["Write your name, so that the maker knows whose choice it is.", $("name")];
    return null;
  }

  function write() {
    const picked = radios.find((r) => r.checked);
    state.chosen = picked ? Number(picked.value) : null;
    options.forEach((option, n) => {
      const button = option.querySelector(".take");
      button.textContent = n === state.chosen ? `${panes[n].title} is your choice` : `Choose ${panes[n].title}`;
    });
    const ready = missing() === null;
    const text = ready ? choiceText(options[state.chosen], $("name").value, today(), $("comment").value) : "";
    $("text").value = text;
    $("text").placeholder = ready ? "" : "It appears here once an option is chosen and your name is written.";
    if (ready) $("told").textContent = "";
    $("name").removeAttribute("aria-invalid");
    $("done").textContent = "";
    const subject = `My choice: ${options[state.chosen || 0].dataset.instrument}`;
    $("send").href = `mailto:${encodeURIComponent(about.mail).replace(/%40/g, "@")}?subject=${encodeURIComponent(subject)}&body=${encodeURIComponent(text.replace(/\n/g, "\r\n"))}`;
  }

  function ready() {
    write();
    const wanted = missing();
    if (!wanted) return true;
    $("told").textContent = wanted[0];
    if (wanted[1] === $("name")) wanted[1].setAttribute("aria-invalid", "true");
    wanted[1].focus();
    return false;
  }

  for (const button of all(".take")) button.addEventListener("click", () => {
    radios[Number(button.dataset.at)].checked = true;
    write();
    $("choose").scrollIntoView({ behavior: still.matches ? "auto" : "smooth" });
    $("choose-title").focus({ preventScroll: true });
  });
  for (const field of [...radios, $("name"), $("comment")]) field.addEventListener("input", write);
  document.querySelector("form").addEventListener("submit", (e) => { e.preventDefault(); ready(); });
  $("send").addEventListener("click", (e) => { if (!ready()) e.preventDefault(); });
  $("copy").addEventListener("click", async () => {
    if (!ready()) return;
    let copied = false;
    try { await navigator.clipboard.writeText($("text").value); copied = true; } catch { // not on a page opened from a file, in some browsers
      $("text").focus();
      $("text").select();
      try { copied = document.execCommand("copy"); } catch { copied = false; }
    }
    $("done").textContent = copied ? `Copied. Paste it into a message${about.mail ? ` to ${about.mail}` : " to the maker"}.` : "Select the text below and copy it.";
    if (!copied) $("text").select();
  });

  show({ say: false });
  write();
})();
