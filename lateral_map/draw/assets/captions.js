"use strict";

/* Writes captions beside marks, along lines and in areas so that none overlap; heavier ones first. */
(function () {
  const GAP = 3;
  // As in draw/plan/scene.py: what weighs this much is labelled wherever there is room.
  const ALWAYS = 90;
  const LETTER_EVERY = 120;

  /** Lay every caption out anew for the view as it is. */
  lateralMap.drawCaptions = function (page) {
    const pane = page.map.getPane("plan-captions");
    pane.replaceChildren();
    const size = page.map.getSize();
    const corner = page.map.containerPointToLayerPoint([0, 0]);
    const sheet = { pane, page, taken: [], marks: [], line: [], left: corner.x, top: corner.y, right: corner.x + size.x, bottom: corner.y + size.y };
    const shown = page.data.layers.filter((layer) => page.map.hasLayer(page.groups[layer.key]));
    const items = shown.flatMap((layer) => layer.items);
    const marks = items.filter((item) => item.as === "mark").map((item) => placed(page, item));
    const inView = marks.filter((mark) => inside(sheet, mark.at));
    sheet.marks = inView.map((mark) => around(mark.at, mark.half));
    sheet.line = page.data.stations.at.map((at) => page.map.latLngToLayerPoint(page.plane.toMap(at)));
    for (const mark of inView.filter((each) => each.item.caption).sort((a, b) => b.item.weight - a.item.weight)) {
      besideMark(sheet, mark);
    }
    for (const item of items) {
      if (item.as === "line" && item.caption) alongLine(sheet, item);
      if (item.as === "area" && item.caption) inArea(sheet, item);
    }
    for (const item of items) if (item.as === "line" && page.data.style[item.style].letter) letters(sheet, item);
  };

  function placed(page, item) {
    const half = (page.data.style[item.style].size * item.scale) / 2;
    return { item, half, at: page.map.latLngToLayerPoint(page.plane.toMap(item.at)) };
  }

  const around = (at, half) => ({ left: at.x - half, right: at.x + half, top: at.y - half, bottom: at.y + half });
  const inside = (sheet, at) => at.x >= sheet.left && at.x <= sheet.right && at.y >= sheet.top && at.y <= sheet.bottom;
  const meets = (a, b) => a.left < b.right + GAP && b.left < a.right + GAP && a.top < b.bottom + 1 && b.top < a.bottom + 1;
  const within = (sheet, box) => box.left >= sheet.left && box.right <= sheet.right && box.top >= sheet.top && box.bottom <= sheet.bottom;
  const holds = (box, at) => at.x > box.left && at.x < box.right && at.y > box.top && at.y < box.bottom;

  function write(sheet, text, kind) {
    const words = lateralMap.element("div", { class: `caption ${kind}`, dir: "auto", text });
    sheet.pane.append(words);
    return words;
  }

  function set(sheet, words, box) {
    L.DomUtil.setPosition(words, L.point(Math.round(box.left), Math.round(box.top)));
    sheet.taken.push(box);
  }

  /* Eight places round a mark, the best that is free of other captions. */
  function besideMark(sheet, mark) {
    const words = write(sheet, mark.item.caption, mark.item.weight >= ALWAYS ? "strong" : "plain");
    const [w, h] = [words.offsetWidth, words.offsetHeight];
    const { x, y } = mark.at;
    const far = mark.half + 3;
    const corner = far * 0.75;
    const spots = [
      [x + far, y - h / 2], [x + corner, y - corner - h], [x + corner, y + corner], [x - w / 2, y - far - h],
      [x - w / 2, y + far], [x - far - w, y - h / 2], [x - corner - w, y - corner - h], [x - corner - w, y + corner],
    ];
    let best = null;
    spots.forEach(([left, top], order) => {
      const box = { left, top, right: left + w, bottom: top + h };
      if (!within(sheet, box) || sheet.taken.some((other) => meets(box, other))) return;
      const cost = 6 * sheet.marks.filter((other) => meets(box, other)).length + 2 * sheet.line.filter((at) => holds(box, at)).length + 0.3 * order;
      if (!best || cost < best.cost) best = { box, cost };
    });
    if (best && (best.cost < 10 || mark.item.weight >= ALWAYS)) set(sheet, words, best.box);
    else words.remove();
  }

  /* The pieces of a line inside the view, as points with the length run so far. */
  function visible(sheet, item) {
    const bounds = L.bounds([sheet.left + 8, sheet.top + 8], [sheet.right - 8, sheet.bottom - 8]);
    const points = item.at.map((at) => sheet.page.map.latLngToLayerPoint(sheet.page.plane.toMap(at)));
    const pieces = [];
    for (let i = 1; i < points.length; i += 1) {
      // Without rounding: a place rounded to outside fractional bounds is clipped again for ever.
      const clipped = L.LineUtil.clipSegment(points[i - 1], points[i], bounds, i > 1, false);
      if (clipped) pieces.push({ from: clipped[0], to: clipped[1], length: clipped[0].distanceTo(clipped[1]) });
    }
    return pieces;
  }

  function alongLine(sheet, item) {
    const pieces = visible(sheet, item).sort((a, b) => b.length - a.length);
    if (!pieces.length) return;
    const words = write(sheet, item.caption, "along");
    const [w, h] = [words.offsetWidth, words.offsetHeight];
    for (const piece of pieces.slice(0, 2)) {
      if (piece.length < w + 12) break;
      let angle = Math.atan2(piece.to.y - piece.from.y, piece.to.x - piece.from.x);
      if (angle > Math.PI / 2 || angle <= -Math.PI / 2) angle += Math.PI;
      for (const share of [0.12, 0.88, 0.3, 0.7, 0.5]) {
        const inset = Math.min(Math.max(share * piece.length, w / 2 + 4), piece.length - w / 2 - 4) / piece.length;
        const x = piece.from.x + inset * (piece.to.x - piece.from.x) + Math.sin(angle) * (h / 2 + 2);
        const y = piece.from.y + inset * (piece.to.y - piece.from.y) - Math.cos(angle) * (h / 2 + 2);
        const halfWide = (Math.abs(Math.cos(angle)) * w + Math.abs(Math.sin(angle)) * h) / 2;
        const halfHigh = (Math.abs(Math.sin(angle)) * w + Math.abs(Math.cos(angle)) * h) / 2;
        const box = { left: x - halfWide, right: x + halfWide, top: y - halfHigh, bottom: y + halfHigh };
        if (!within(sheet, box) || [...sheet.taken, ...sheet.marks].some((other) => meets(box, other))) continue;
        words.style.transform = `translate(${x - w / 2}px, ${y - h / 2}px) rotate(${angle}rad)`;
        sheet.taken.push(box);
        return;
      }
    }
    words.remove();
  }

  function inArea(sheet, item) {
    const ring = item.at[0][0].map((at) => sheet.page.map.latLngToLayerPoint(sheet.page.plane.toMap(at)));
    const bounds = L.bounds(ring);
    const [low, high] = [bounds.min, bounds.max];
    const left = Math.max(low.x, sheet.left), right = Math.min(high.x, sheet.right);
    const top = Math.max(low.y, sheet.top), bottom = Math.min(high.y, sheet.bottom);
    const words = write(sheet, item.caption, "area");
    const [w, h] = [words.offsetWidth, words.offsetHeight];
    const box = { left: (left + right - w) / 2, right: (left + right + w) / 2, top: (top + bottom - h) / 2, bottom: (top + bottom + h) / 2 };
    const fits = right - left > w + 8 && bottom - top > h + 8;
    if (fits && ![...sheet.taken, ...sheet.marks].some((other) => meets(box, other))) set(sheet, words, box);
    else words.remove();
  }

  function letters(sheet, item) {
    const style = sheet.page.data.style[item.style];
    let due = LETTER_EVERY / 2;
    for (const piece of visible(sheet, item)) {
      let at = due;
      for (; at < piece.length; at += LETTER_EVERY) letter(sheet, style.letter, piece, at / piece.length);
      due = at - piece.length;
    }
  }

  function letter(sheet, text, piece, share) {
    const x = piece.from.x + share * (piece.to.x - piece.from.x);
    const y = piece.from.y + share * (piece.to.y - piece.from.y);
    const box = around({ x, y }, 8);
    if ([...sheet.taken, ...sheet.marks].some((other) => meets(box, other))) return;
    set(sheet, write(sheet, text, "letter-chip"), box);
  }
})();
