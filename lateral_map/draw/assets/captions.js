"use strict";

/*
 * Writes captions beside marks, along lines and in areas, and footages along the pipe, so that none
 * overlap. The heavier goes first and has the better place; what weighs most is never left out: it
 * stands farther off with a leader to its mark.
 */
(function () {
  const { element, svg } = lateralMap;
  const CELL = 4; // pixels; the view is kept as a grid of how costly it is to write there
  const TAKEN = 1e6;
  const COST = { mark: 3, pipe: 2, boundary: 1.6, line: 0.5, leader: 4 };
  const WAYS = 16;
  const RINGS = [0, 16, 34, 56, 82, 112, 146];
  const LETTER_EVERY = 150;
  const LEADER_FROM = 9;
  // As in draw/plan/scene.py: what weighs so much is labelled wherever there is room at all.
  const ALWAYS = 90;
  const SUSPECT = 50; // and findings, and crossings of boundaries: before the names of lines
  const LOCATE = 30;
  const OTHER = 20;
  // How far off a caption may stand, and what its place may cost, by the weight of its mark.
  const limits = (weight) => (weight >= ALWAYS ? [RINGS.length, TAKEN] : weight >= SUSPECT ? [6, 60] : weight >= LOCATE ? [4, 30] : [weight >= OTHER ? 3 : 1, 14]);

  /** Lay every caption out anew for the view as it is. */
  lateralMap.drawCaptions = function (page) {
    const pane = page.map.getPane("plan-captions");
    const size = page.map.getSize();
    const corner = page.map.containerPointToLayerPoint([0, 0]);
    const [leaders, ticks] = ["captions", "footage"].map((name) => {
      const drawn = svg("svg", { class: "leaders", width: size.x, height: size.y, "aria-hidden": "true" });
      L.DomUtil.setPosition(drawn, corner);
      page.map.getPane(`plan-${name}`).replaceChildren(drawn);
      return drawn;
    });
    const sheet = { pane, page, leaders, ticks, size, corner, room: new Room(size), place: (at) => page.map.latLngToContainerPoint(page.plane.toMap(at)) };
    const shown = page.data.layers.filter((layer) => page.map.hasLayer(page.groups[layer.key]));
    const items = shown.filter((layer) => layer.key !== "footage").flatMap((layer) => layer.items);
    for (const over of page.map.getContainer().parentElement.querySelectorAll(".tools, .corner, .leaflet-control-zoom, #measured")) takeOver(sheet, over);
    const pipe = page.data.stations.at.map(sheet.place);
    if (shown.some((layer) => layer.key === "route")) sheet.room.line(pipe, COST.pipe);
    for (const item of items.filter((each) => each.as === "line")) {
      const cost = item.style.startsWith("line ") ? COST.boundary : COST.line;
      sheet.room.line(item.at.map(sheet.place), cost);
    }
    const marks = items.filter((item) => item.as === "mark").map((item) => placed(sheet, item));
    for (const { at, half } of marks) sheet.room.box(at.x - half, at.y - half, at.x + half, at.y + half, COST.mark);
    const told = marks.filter((mark) => mark.item.caption && sheet.room.has(mark.at)).sort((a, b) => b.item.weight - a.item.weight);
    for (const mark of told) {
      const kind = mark.item.weight >= ALWAYS ? "strong" : "plain";
      mark.wordings = [mark.item.caption, mark.item.short].filter(Boolean).map((text) => ({ text, kind }));
    }
    measure(sheet, told.flatMap((mark) => mark.wordings));
    for (const mark of told.filter((each) => each.item.weight >= SUSPECT)) besideMark(sheet, mark);
    for (const item of items) if (item.as === "line" && item.caption) alongLine(sheet, item);
    const lettered = items.filter((item) => item.as === "line" && page.data.style[item.style].letter).map((item) => ({ item, at: [] }));
    for (const one of lettered) firstLetter(sheet, one);
    if (shown.some((layer) => layer.key === "footage")) footages(sheet, pipe);
    for (const mark of told.filter((each) => each.item.weight < SUSPECT)) besideMark(sheet, mark);
    for (const item of items) if (item.as === "area" && item.caption) inArea(sheet, item);
    for (const one of lettered) letters(sheet, one);
  };

  /* The view as cells, each holding what it costs to write over it. */
  class Room {
    constructor(size) {
      this.size = size;
      this.columns = Math.ceil(size.x / CELL);
      this.rows = Math.ceil(size.y / CELL);
      this.cells = new Float32Array(this.columns * this.rows);
    }

    has(at) {
      return at.x >= 0 && at.y >= 0 && at.x <= this.size.x && at.y <= this.size.y;
    }

    /* Adds a cost to a box, in pixels; with none given, tells what the box costs. */
    box(left, top, right, bottom, more = 0) {
      const [x0, y0] = [Math.floor(left / CELL), Math.floor(top / CELL)];
      const [x1, y1] = [Math.floor((right - 0.01) / CELL), Math.floor((bottom - 0.01) / CELL)];
      if (!more && (x0 < 0 || y0 < 0 || x1 >= this.columns || y1 >= this.rows)) return Infinity;
      let sum = 0;
      for (let y = Math.max(y0, 0); y <= Math.min(y1, this.rows - 1); y += 1) {
        for (let x = Math.max(x0, 0); x <= Math.min(x1, this.columns - 1); x += 1) {
          const cell = y * this.columns + x;
          sum += this.cells[cell];
          if (more) this.cells[cell] = Math.max(this.cells[cell], more);
        }
      }
      return sum;
    }

    line(points, more = 0) {
      let sum = 0;
      for (const piece of pieces(this, points)) {
        const steps = Math.ceil(piece.length / CELL);
        for (let step = 0; step <= steps; step += 1) {
          const at = between(piece, step / Math.max(steps, 1));
          sum += this.box(at.x, at.y, at.x + 0.02, at.y + 0.02, more);
        }
      }
      return sum;
    }

    /* A box of so wide and high, turned about its middle. */
    turned(at, width, height, angle, more = 0) {
      let sum = 0;
      const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
      for (let u = -width / 2; u <= width / 2; u += CELL / 1.5) {
        for (let v = -height / 2; v <= height / 2; v += CELL / 1.5) {
          const [x, y] = [at.x + u * cos - v * sin, at.y + u * sin + v * cos];
          sum += this.box(x, y, x + 0.02, y + 0.02, more);
        }
      }
      return sum;
    }
  }

  const between = ({ from, to }, share) => L.point(from.x + share * (to.x - from.x), from.y + share * (to.y - from.y));

  /* The pieces of a line inside the view. */
  function pieces({ size }, points) {
    const bounds = L.bounds([0, 0], size);
    const found = [];
    for (let i = 1; i < points.length; i += 1) {
      // Without rounding: a place rounded to outside fractional bounds is clipped again for ever.
      const clipped = L.LineUtil.clipSegment(points[i - 1], points[i], bounds, i > 1, false);
      if (clipped) found.push({ from: clipped[0], to: clipped[1], length: clipped[0].distanceTo(clipped[1]) });
    }
    return found;
  }

  function placed(sheet, item) {
    const half = (sheet.page.data.style[item.style].size * item.scale) / 2;
    return { item, half, at: sheet.place(item.at) };
  }

  function takeOver(sheet, over) {
    const view = sheet.page.map.getContainer().getBoundingClientRect();
    const box = over.getBoundingClientRect();
    if (box.width) sheet.room.box(box.left - view.left, box.top - view.top, box.right - view.left, box.bottom - view.top, TAKEN);
  }

  function write(sheet, text, kind) {
    const words = element("div", { class: `caption ${kind}`, dir: "ltr", text });
    sheet.pane.append(words);
    return words;
  }

  /* Each wording is measured once: measuring lays the page out, and the map is lettered at every move. */
  const sizes = new Map();
  function measure(sheet, wordings) {
    const key = ({ text, kind }) => `${document.documentElement.className} ${kind} ${text}`;
    // All that are new are put on the page before any is measured, so that the page is laid out once.
    const unknown = wordings.filter((each) => !sizes.has(key(each)));
    for (const each of unknown) each.words = write(sheet, each.text, each.kind);
    for (const each of wordings) {
      const size = sizes.get(key(each)) || [each.words.offsetWidth, each.words.offsetHeight];
      if (size[0]) sizes.set(key(each), size);
      [each.width, each.height] = size;
    }
    for (const { words } of unknown) words.remove();
  }

  function put(sheet, words, { left, top, right, bottom }) {
    L.DomUtil.setPosition(words, sheet.corner.add([left, top]).round());
    sheet.room.box(left - 1, top - 1, right + 2, bottom + 1, TAKEN);
  }

  /* In full or, where there is no good place for that, in short. */
  function besideMark(sheet, mark) {
    const [rings, most] = limits(mark.item.weight);
    let best = null;
    mark.wordings.forEach((wording, index) => {
      const found = best && best.cost < 25 ? null : placeRound(sheet, mark, wording, rings);
      if (found && (!best || found.cost + 12 * index < best.cost)) best = { ...found, wording };
    });
    if (best && best.cost > most) best = null;
    if (!best) return;
    put(sheet, write(sheet, best.wording.text, best.wording.kind), best.box);
    if (!best.leader) return;
    const { from, to } = best.leader;
    for (const kind of ["leader under", "leader"]) sheet.leaders.append(svg("line", { x1: from.x, y1: from.y, x2: to.x, y2: to.y, class: kind }));
    sheet.room.line([from, to], COST.leader);
  }

  /* Round the mark in rings: the best place by what it covers, how far off it is and on which side. */
  function placeRound(sheet, { at, half }, { width: w, height: h }, rings) {
    let best = null;
    for (const ring of RINGS.slice(0, rings)) {
      if (best && best.cost < 0.2 * ring) break;
      for (let way = 0; way < WAYS; way += 1) {
        const [cos, sin] = [Math.cos((way * 2 * Math.PI) / WAYS), Math.sin((way * 2 * Math.PI) / WAYS)];
        const off = half + 2 + ring;
        // The box touches the ring with the side or the corner that is turned to the mark.
        const left = at.x + off * cos - (w * (1 - Math.sign(Math.round(cos * 3)))) / 2;
        const top = at.y + off * sin - (h * (1 - Math.sign(Math.round(sin * 3)))) / 2;
        const box = { left, top, right: left + w, bottom: top + h };
        let cost = sheet.room.box(left, top, box.right, box.bottom);
        if (cost >= TAKEN) continue;
        cost += 0.2 * ring + 0.25 * Math.min(way, WAYS - way) + (ring ? 2 : 0);
        if (best && cost >= best.cost) continue;
        let leader = null;
        if (ring > LEADER_FROM) {
          const to = L.point(Math.min(Math.max(at.x, left), box.right), Math.min(Math.max(at.y, top), box.bottom));
          leader = { from: between({ from: at, to }, Math.min((half + 1) / at.distanceTo(to), 1)), to };
          cost += 0.5 * sheet.room.line([leader.from, to]);
        }
        if (!best || cost < best.cost) best = { box, cost, leader };
      }
    }
    return best;
  }

  /* Beside a line, never on it: the line itself must stay whole. */
  function alongLine(sheet, item) {
    const longest = pieces(sheet.room, item.at.map(sheet.place)).sort((a, b) => b.length - a.length);
    if (!longest.length) return;
    const wording = { text: item.caption, kind: "along" };
    measure(sheet, [wording]);
    const { width: w, height: h } = wording;
    let best = null;
    for (const piece of longest.slice(0, 2)) {
      if (piece.length < w + 12) break;
      let angle = Math.atan2(piece.to.y - piece.from.y, piece.to.x - piece.from.x);
      if (angle > Math.PI / 2 || angle <= -Math.PI / 2) angle += Math.PI;
      for (const share of [0.12, 0.88, 0.3, 0.7, 0.5, 0.2, 0.8, 0.4, 0.6]) {
        const inset = Math.min(Math.max(share * piece.length, w / 2 + 4), piece.length - w / 2 - 4) / piece.length;
        for (const side of [1, -1]) {
          const at = between(piece, inset).add([Math.sin(angle) * side * (h / 2 + 2), -Math.cos(angle) * side * (h / 2 + 2)]);
          const cost = sheet.room.turned(at, w, h - 4, angle) + (side < 0 ? 1 : 0);
          if (!best || cost < best.cost) best = { at, angle, cost };
        }
        if (best && best.cost < 2) break;
      }
    }
    if (!best || best.cost > 60) return;
    const at = sheet.corner.add(best.at);
    const words = write(sheet, item.caption, "along");
    words.style.transform = `translate(${at.x - w / 2}px, ${at.y - h / 2}px) rotate(${best.angle}rad)`;
    sheet.room.turned(best.at, w, h, best.angle, TAKEN);
  }

  /* Ticks across the pipe every so many feet or metres: on paper at one step, here as close as reads well. */
  function footages(sheet, pipe) {
    const { footage } = sheet.page.data.stations;
    const { metres, word } = sheet.page.data.unit;
    const from = footage[0] / metres, to = footage[footage.length - 1] / metres;
    const long = pipe.reduce((sum, at, i) => sum + (i ? at.distanceTo(pipe[i - 1]) : 0), 0);
    const every = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500].find((step) => (step / (to - from)) * long >= 44);
    if (!every) return;
    let [station, first] = [1, true];
    for (let count = Math.ceil(from / every - 1e-6); count * every <= to + 1e-6; count += 1) {
      const at_m = Math.min(Math.max(count * every * metres, footage[0]), footage[footage.length - 1]);
      while (station < footage.length - 1 && footage[station] < at_m) station += 1;
      const [one, other] = [pipe[station - 1], pipe[station]];
      const at = between({ from: one, to: other }, (at_m - footage[station - 1]) / (footage[station] - footage[station - 1]));
      if (!sheet.room.has(at)) continue;
      const figure = `${Number((count * every).toFixed(1))}`;
      // The first says what the others count.
      if (tick(sheet, at, Math.atan2(other.y - one.y, other.x - one.x), first ? `${figure} ${word}` : figure)) first = false;
    }
  }

  function tick(sheet, at, along, figure) {
    const across = L.point(-Math.sin(along), Math.cos(along));
    const [one, other] = [at.subtract(across.multiplyBy(9)), at.add(across.multiplyBy(9))];
    for (const kind of ["tick under", "tick"]) sheet.ticks.append(svg("line", { x1: one.x, y1: one.y, x2: other.x, y2: other.y, class: kind }));
    const wording = { text: figure, kind: "footage" };
    measure(sheet, [wording]);
    const { width: w, height: h } = wording;
    const spots = [1, -1].map((side) => {
      const middle = at.add(across.multiplyBy(side * (11 + Math.abs(across.x) * (w / 2) + Math.abs(across.y) * (h / 2))));
      const box = { left: middle.x - w / 2, top: middle.y - h / 2, right: middle.x + w / 2, bottom: middle.y + h / 2 };
      return { box, cost: sheet.room.box(box.left, box.top, box.right, box.bottom) + (side < 0 ? 1 : 0) };
    });
    const best = spots[0].cost <= spots[1].cost ? spots[0] : spots[1];
    if (best.cost > 20) return false;
    put(sheet, write(sheet, figure, "footage"), best.box);
    return true;
  }

  function inArea(sheet, item) {
    const ring = L.bounds(item.at[0][0].map(sheet.place));
    const { min: low, max: high } = ring;
    const left = Math.max(low.x, 0), right = Math.min(high.x, sheet.size.x);
    const top = Math.max(low.y, 0), bottom = Math.min(high.y, sheet.size.y);
    const wording = { text: item.caption, kind: "area" };
    measure(sheet, [wording]);
    const { width: w, height: h } = wording;
    const box = { left: (left + right - w) / 2, right: (left + right + w) / 2, top: (top + bottom - h) / 2, bottom: (top + bottom + h) / 2 };
    const fits = right - left > w + 8 && bottom - top > h + 8;
    if (fits && sheet.room.box(box.left, box.top, box.right, box.bottom) < 20) put(sheet, write(sheet, item.caption, "area"), box);
  }

  /*
   * Each line in view has one lozenge where that costs least, one close beside the pipe too: which
   * utility it is and that nobody knows its depth are told by nothing else on it.
   */
  function firstLetter(sheet, { item, at }) {
    const lozenge = lateralMap.lozenge(sheet.page.data.style[item.style]);
    const places = pieces(sheet.room, item.at.map(sheet.place)).flatMap((piece) => {
      const steps = Math.max(Math.floor(piece.length / 10), 1);
      return Array.from({ length: steps }, (_, step) => letterAt(sheet, lozenge, between(piece, (step + 0.5) / steps)));
    });
    const best = places.sort((a, b) => a.cost - b.cost)[0];
    if (best && best.cost < TAKEN) at.push(writeLetter(sheet, lozenge, best));
  }

  /* And a lozenge every so far; where one place is taken, a little before it or after. */
  function letters(sheet, { item, at: told }) {
    const lozenge = lateralMap.lozenge(sheet.page.data.style[item.style]);
    let due = LETTER_EVERY / 2;
    for (const piece of pieces(sheet.room, item.at.map(sheet.place))) {
      let along = due;
      for (; along < piece.length; along += LETTER_EVERY) {
        const places = [0, 20, -20, 40, -40, 60, -60].map((aside) => along + aside).filter((at) => at > 12 && at < piece.length - 12);
        const free = places
          .map((at) => letterAt(sheet, lozenge, between(piece, at / piece.length)))
          .find(({ at, cost }) => cost <= 40 && told.every((other) => at.distanceTo(other) > LETTER_EVERY / 2));
        if (free) told.push(writeLetter(sheet, lozenge, free));
      }
      due = along - piece.length;
    }
  }

  function letterAt(sheet, lozenge, at) {
    const half = lozenge.getAttribute("width") / 2;
    const box = { left: at.x - half, top: at.y - 10, right: at.x + half, bottom: at.y + 10 };
    return { at, box, cost: sheet.room.box(box.left, box.top, box.right, box.bottom) };
  }

  function writeLetter(sheet, lozenge, { at, box }) {
    const mark = element("div", { class: "caption letter-chip" }, lozenge.cloneNode(true));
    sheet.pane.append(mark);
    put(sheet, mark, box);
    return at;
  }
})();
