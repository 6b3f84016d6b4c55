// The tray's picture: press a piece to choose it, pinch, wheel or buttons to zoom, arrow keys to step.
// Everything is one SVG, so that lines and numbers stay sharp and keep their width at any zoom.

const NS = "http://www.w3.org/2000/svg";
const MOST_ZOOM = 12;
const LABEL = 8.5; // half the height of a number's label, screen px

function svg(tag, attributes, parent) {
  const node = document.createElementNS(NS, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  if (parent) parent.appendChild(node);
  return node;
}

function shape(verdict, half, parent) {
  const box = { class: "tag-shape", x: -half, y: -LABEL, width: 2 * half, height: 2 * LABEL };
  if (verdict === "unsure") {
    const w = half + 6, h = LABEL + 2;
    return svg("path", { class: "tag-shape", d: `M0 ${-h}L${w} 0L0 ${h}L${-w} 0Z` }, parent);
  }
  return svg("rect", verdict === "in" ? { ...box, rx: LABEL } : box, parent);
}

function extent(outline) { // how large a piece is across, photo px
  const [xs, ys] = [0, 1].map((axis) => outline.map((point) => point[axis]));
  return Math.min(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys));
}

function median(values) {
  return [...values].sort((a, b) => a - b)[values.length >> 1] || 40;
}

class Viewer {
  constructor(root, press) {
    this.root = root;
    this.press = press;
    this.scene = root.querySelector(".scene");
    this.which = root.querySelector(".which");
    this.panel = root.querySelector(".panel");
    this.pointers = new Map();
    this.moved = false;
    this.listen();
  }

  show(data) {
    if (this.picture !== data.picture || this.width !== data.width) {
      Object.assign(this, { picture: data.picture, width: data.width, height: data.height });
      this.box = { x: 0, y: 0, w: data.width, h: data.height };
      this.shown = null;
    }
    this.pieces = data.pieces;
    this.pickWhat = data.pick;
    this.root.querySelector(".side").hidden = Boolean(data.pick);
    this.hint = data.hint;
    const drawn = JSON.stringify(data.pieces);
    if (this.shown !== drawn) this.draw(data);
    this.shown = drawn;
    // A number chosen outside the picture wins only when it is news: a press is not sent back and forth.
    if (data.chosen !== this.told) {
      this.told = data.chosen;
      this.choose(data.chosen, false);
    }
    this.zoom();
  }

  draw(data) {
    this.scene.replaceChildren();
    svg("image", { href: data.picture, x: -0.5, y: -0.5, width: data.width, height: data.height }, this.scene);
    svg("title", {}, this.scene).textContent = data.alt;
    this.groups = new Map();
    for (const piece of data.pieces) {
      const group = svg("g", {
        class: `piece ${piece.verdict}`, role: "button", tabindex: "-1",
        "aria-label": piece.label, "aria-pressed": "false", "data-n": piece.n,
      }, this.scene);
      const path = `M${piece.outline.map((point) => point.join(" ")).join("L")}Z`;
      for (const layer of ["hit", "casing", "line"]) svg("path", { class: layer, d: path }, group);
      const top = piece.outline.reduce((best, point) => (point[1] < best[1] ? point : best));
      const tag = svg("g", { class: "tag", "data-x": top[0], "data-y": top[1] }, group);
      const text = String(piece.n);
      tag.dataset.half = Math.max(LABEL, 3 + 3.6 * text.length);
      shape(piece.verdict, Number(tag.dataset.half), tag);
      svg("text", {}, tag).textContent = text;
      this.groups.set(piece.n, group);
    }
    this.list(data.pieces);
    this.size = median(data.pieces.map((piece) => extent(piece.outline)));
    const first = this.groups.get(this.chosen) ? this.chosen : data.pieces[0]?.n;
    if (first !== undefined) this.groups.get(first).setAttribute("tabindex", "0");
    if (!this.groups.has(this.chosen)) this.chosen = null;
    this.mark(this.chosen);
  }

  list(pieces) { // the pieces by number, for who would rather choose than aim
    this.panels = new Map(pieces.map((piece) => [piece.n, piece.panel]));
    const none = new Option("Press a piece", "");
    this.which.replaceChildren(none, ...pieces.map((piece) => new Option(piece.name, piece.n)));
  }

  zoom() {
    const box = this.box;
    box.w = Math.min(this.width, Math.max(this.width / MOST_ZOOM, box.w));
    box.h = (box.w * this.height) / this.width;
    box.x = Math.min(this.width - box.w, Math.max(0, box.x));
    box.y = Math.min(this.height - box.h, Math.max(0, box.y));
    this.scene.setAttribute("viewBox", `${box.x - 0.5} ${box.y - 0.5} ${box.w} ${box.h}`);
    const scale = box.w / (this.scene.clientWidth || 400); // photo px to one screen px
    this.scene.classList.toggle("zoomed", box.w < this.width * 0.999);
    // Lines grow with the pieces: around a small one a thick line would hide what it marks.
    this.scene.style.setProperty("--line", `${Math.min(2.6, Math.max(1.1, (0.07 * this.size) / scale))}px`);
    const placed = [];
    for (const [n, group] of [...this.groups].sort(([a], [b]) => (b === this.chosen) - (a === this.chosen))) {
      const tag = group.querySelector(".tag");
      const x = Number(tag.dataset.x), half = Number(tag.dataset.half);
      // At the picture's upper edge the number moves into the piece rather than out of sight.
      const above = tag.dataset.y - (LABEL + 5) * scale, edge = box.y + (LABEL + 1) * scale;
      const y = tag.dataset.y > box.y ? Math.max(above, edge) : above;
      tag.setAttribute("transform", `translate(${x} ${y}) scale(${scale})`);
      // Where there is no room for every number, some wait until the picture is zoomed in.
      const clash = placed.some((other) => Math.abs(other.x - x) < (other.half + half) * scale
        && Math.abs(other.y - y) < 2 * LABEL * scale);
      tag.classList.toggle("waits", clash && n !== this.chosen);
      if (!clash) placed.push({ x, y, half });
    }
  }

  zoomAt(factor, x, y) { // keeps the photo's point under (x, y), client px, where it is
    const frame = this.scene.getBoundingClientRect();
    const u = (x - frame.left) / frame.width, v = (y - frame.top) / frame.height;
    const before = { ...this.box };
    this.box.w = Math.min(this.width, Math.max(this.width / MOST_ZOOM, before.w / factor));
    this.box.h = (this.box.w * this.height) / this.width;
    this.box.x = before.x + u * (before.w - this.box.w);
    this.box.y = before.y + v * (before.h - this.box.h);
    this.zoom();
  }

  zoomMiddle(factor) {
    const frame = this.scene.getBoundingClientRect();
    const group = this.chosen !== null && this.groups.get(this.chosen);
    const on = (group ? group.querySelector(".hit") : this.scene).getBoundingClientRect();
    const inside = on.left < frame.right && on.right > frame.left && on.top < frame.bottom && on.bottom > frame.top;
    const at = inside ? on : frame;
    this.zoomAt(factor, at.left + at.width / 2, at.top + at.height / 2);
  }

  mark(n) {
    for (const [number, group] of this.groups) {
      const on = number === n;
      group.classList.toggle("chosen", on);
      group.setAttribute("aria-pressed", String(on));
      group.setAttribute("tabindex", on ? "0" : "-1");
      if (on) this.scene.appendChild(group); // on top of its neighbours
    }
    this.which.value = n === null ? "" : String(n);
    // Written by our own server, every name in it escaped there.
    this.panel.innerHTML = n === null ? this.hint : this.panels.get(n);
    if (n === null && this.pieces[0]) this.groups.get(this.pieces[0].n).setAttribute("tabindex", "0");
  }

  choose(n, tell = true) {
    this.chosen = n !== null && this.groups.has(n) ? n : null;
    this.mark(this.chosen);
    if (tell) this.press(this.chosen);
  }

  step(by, focus = false) {
    const numbers = this.pieces.map((piece) => piece.n);
    const at = numbers.indexOf(this.chosen);
    const next = at < 0 ? (by > 0 ? 0 : numbers.length - 1) : (at + by + numbers.length) % numbers.length;
    this.choose(numbers[next]);
    if (focus) this.groups.get(numbers[next]).focus();
  }

  point(event) { // a place in the photo was pressed, photo px
    const frame = this.scene.getBoundingClientRect();
    const x = this.box.x + ((event.clientX - frame.left) / frame.width) * this.box.w;
    const y = this.box.y + ((event.clientY - frame.top) / frame.height) * this.box.h;
    this.scene.querySelector(".pin")?.remove();
    svg("circle", { class: "pin", cx: x, cy: y, r: (9 * this.box.w) / frame.width }, this.scene);
    this.pin([Math.round(x), Math.round(y)]);
  }

  pieceAt(x, y) { // the piece under a finger, or the nearest within 22 px of it
    let best = null, least = 22;
    for (const [n, group] of this.groups) {
      const on = group.querySelector(".hit").getBoundingClientRect();
      const dx = Math.max(on.left - x, 0, x - on.right), dy = Math.max(on.top - y, 0, y - on.bottom);
      const middle = Math.hypot(x - (on.left + on.right) / 2, y - (on.top + on.bottom) / 2);
      const far = Math.hypot(dx, dy) + middle * 1e-3;
      if (far < least) [best, least] = [n, far];
    }
    return best;
  }

  listen() {
    const scene = this.scene;
    scene.addEventListener("pointerdown", (event) => {
      this.pointers.set(event.pointerId, [event.clientX, event.clientY]);
      this.moved = this.pointers.size > 1;
      this.start = [event.clientX, event.clientY];
    });
    scene.addEventListener("pointermove", (event) => {
      const last = this.pointers.get(event.pointerId);
      if (!last) return;
      const now = [event.clientX, event.clientY];
      if (Math.hypot(now[0] - this.start[0], now[1] - this.start[1]) > 8) this.moved = true;
      if (this.pointers.size === 2) {
        const other = [...this.pointers].find(([id]) => id !== event.pointerId)[1];
        const before = Math.hypot(last[0] - other[0], last[1] - other[1]);
        const after = Math.hypot(now[0] - other[0], now[1] - other[1]);
        if (before > 0) this.zoomAt(after / before, (now[0] + other[0]) / 2, (now[1] + other[1]) / 2);
      } else if (scene.classList.contains("zoomed") && this.moved) {
        const scale = this.box.w / scene.clientWidth;
        this.box.x -= (now[0] - last[0]) * scale;
        this.box.y -= (now[1] - last[1]) * scale;
        scene.classList.add("dragging");
        this.zoom();
      }
      this.pointers.set(event.pointerId, now);
    });
    const end = (event) => {
      const was = this.pointers.delete(event.pointerId);
      scene.classList.remove("dragging");
      if (was && !this.moved && event.type === "pointerup" && this.pickWhat) this.point(event);
      else if (was && !this.moved && event.type === "pointerup") {
        const n = this.pieceAt(event.clientX, event.clientY);
        if (n !== null) this.choose(n);
      }
    };
    for (const type of ["pointerup", "pointercancel", "pointerleave"]) scene.addEventListener(type, end);
    scene.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && !scene.classList.contains("zoomed")) return; // leave the page its scrolling
      event.preventDefault();
      this.zoomAt(Math.exp(-event.deltaY / 300), event.clientX, event.clientY);
    }, { passive: false });
    scene.addEventListener("keydown", (event) => {
      const by = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
      const group = event.target.closest(".piece");
      if (by) this.step(by, true);
      else if ((event.key === "Enter" || event.key === " ") && group) this.choose(Number(group.dataset.n));
      else if (event.key === "+") this.zoomMiddle(1.5);
      else if (event.key === "-") this.zoomMiddle(1 / 1.5);
      else return;
      event.preventDefault();
    });
    this.which.addEventListener("change", () => this.choose(Number(this.which.value) || null));
    this.root.addEventListener("click", (event) => {
      const act = event.target.dataset.act;
      if (act === "in") this.zoomMiddle(1.6);
      if (act === "out") this.zoomMiddle(1 / 1.6);
      if (act === "all") {
        this.box = { x: 0, y: 0, w: this.width, h: this.height };
        this.zoom();
      }
      if (act === "back") this.step(-1);
      if (act === "next") this.step(1);
    });
    this.resized = new ResizeObserver(() => this.box && this.zoom());
    this.resized.observe(scene);
  }
}

const viewers = new WeakMap();

export default function (component) {
  const { data, parentElement, setStateValue } = component;
  if (data.warm) { // only to have all of this loaded
    parentElement.querySelector(".viewer")?.remove();
    return;
  }
  const root = parentElement.querySelector(".viewer");
  let viewer = viewers.get(root);
  if (!viewer) {
    viewer = new Viewer(root, (n) => viewer.tell(n));
    viewer.pin = (at) => viewer.tellPoint(at);
    viewers.set(root, viewer);
  }
  viewer.tell = (n) => setStateValue("piece", n);
  viewer.tellPoint = (at) => setStateValue("point", at);
  viewer.show(data);
}
