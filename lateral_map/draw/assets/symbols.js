"use strict";

/* The shapes of marks, the swatches of the legend, and the hatches of areas. */
(function () {
  const { svg } = lateralMap;

  const circle = (r, extra) => svg("circle", { r, ...extra });
  const path = (d, extra) => svg("path", { d, ...extra });

  /* Every shape is drawn in a box from -12 to 12, north up; it is turned with the pipe. */
  const SHAPES = {
    disc: (s) => [circle(8.6, s)],
    square: (s) => [svg("rect", { x: -8.4, y: -8.4, width: 16.8, height: 16.8, ...s })],
    diamond: (s) => [path("M0-10.6 10.6 0 0 10.6-10.6 0z", s)],
    "disc to square": (s) => [path("M-8.5 0A8.5 8.5 0 0 0 8.5 0V-8.4H-8.5zM-8.5 0H8.5", s)],
    "diamond to square": (s) => [path("M-9.5 0 0 10.4 9.5 0V-8.4H-9.5zM-9.5 0H9.5", s)],
    octagon: (s) => [path("M-4.1-10H4.1L10-4.1V4.1L4.1 10H-4.1L-10 4.1V-4.1z", s)],
    end: (s) => [path("M-10 4V0H10V4", { stroke: s.stroke, "stroke-width": 3, fill: "none" })],
    triangle: (s) => [path("M0-10 9 7.6-9 7.6z", s)],
    target: (s) => [circle(8.8, s), circle(3, { fill: s.stroke })],
    "target open": (s) => [circle(8.8, s)],
    "target crossed": (s) => [circle(9.2, s), path("M-5-5 5 5M5-5-5 5", { ...s, fill: "none" })],
    saltire: (s) => [path("M-7-7 7 7M-7 7 7-7", { ...s, fill: "none" })],
    "target struck": (s) => [circle(9.2, s), path("M-5 5 5-5", { ...s, fill: "none" })],
    "target dashed": (s) => [circle(8.8, { ...s, "stroke-dasharray": "4 3" })],
    gate: (s) => [path("M-11.5-2.6H11.5M-11.5 2.6H11.5", { stroke: s.stroke, "stroke-width": 2, fill: "none" })],
    terminal: (s) => [circle(9, s), circle(3.4, { fill: "#fff" })],
    "plus ring": (s) => [circle(9.4, { ...s, "stroke-dasharray": "5 3" }), path("M-5 0H5M0-5V5", s)],
    tick: (s) => [path("M-11 0H11", { stroke: s.stroke, "stroke-width": 2, fill: "none" })],
    cross: (s) => [path("M-8-8 8 8M8-8-8 8", { stroke: s.stroke, "stroke-width": 3, fill: "none" })],
    level: (s) => [path("M-9-7H9L0 9z", s)],
    cursor: (s) => [
      circle(8, { fill: "none", stroke: s.fill, "stroke-width": 5 }),
      circle(10.6, { fill: "none", stroke: s.stroke, "stroke-width": 1.6 }),
      circle(5.4, { fill: "none", stroke: s.stroke, "stroke-width": 1.6 }),
    ],
  };
  const BARE = new Set(["gate", "cross", "tick", "end"]);
  const DIRECTED = new Set(["triangle", "gate", "end", "disc to square", "diamond to square"]); // the others stand upright however the plan is turned

  /** Draw a mark's shape; a pale halo keeps it apart from whatever lies under it. */
  lateralMap.symbol = function (style, scale = 1, turn = 0) {
    const ink = { fill: style.fill, stroke: style.edge, "stroke-width": 2 };
    const halo = { fill: "#fff", stroke: "#fff", "stroke-width": BARE.has(style.shape) ? 7 : 5 };
    const draw = SHAPES[style.shape];
    const size = style.size * scale;
    const under = svg("g", { opacity: 0.85 }, ...(style.shape === "cursor" ? [] : draw(halo).slice(0, 1)));
    if (BARE.has(style.shape)) under.firstChild.setAttribute("stroke-width", style.shape === "gate" ? 4.5 : 7);
    return svg(
      "svg",
      { width: size, height: size, viewBox: "-12 -12 24 24", "aria-hidden": "true", overflow: "visible" },
      svg("g", { transform: `rotate(${DIRECTED.has(style.shape) ? turn : 0})` }, under, ...draw(ink)),
    );
  };

  const hatchLines = {
    rising: (ink) => [path("M-2 10 10-2M4 16 16 4M-8 4 4-8", ink)],
    falling: (ink) => [path("M-2 2 10 14M4-4 16 8", ink)],
    crossed: (ink) => [path("M0 0 12 12M12 0 0 12", ink)],
    level: (ink) => [path("M0 4H12", ink)],
    dots: (ink) => [circle(1.1, { cx: 3, cy: 3, fill: ink.stroke }), circle(1.1, { cx: 9, cy: 9, fill: ink.stroke })],
    tufts: (ink) => [path("M2 10v-3M4 10l1-2.4M0 10l-1-2.4M12 20v-3M14 20l1-2.4M10 20l-1-2.4", ink)],
    pebbles: (ink) => [path("M3 4l2-1 1 2-2 1zM13 9l1.6-1.2 1.2 1.6-1.6 1z", ink), circle(0.9, { cx: 9, cy: 15, fill: ink.stroke })],
  };
  const hatchSize = { rising: 12, falling: 12, crossed: 12, level: 8, dots: 12, tufts: 24, pebbles: 20 };
  const nameOf = (key) => `fill-${key.replace(/[^a-z0-9]+/gi, "-")}`;

  /** Keep a pattern in the page for every hatched area style. */
  lateralMap.keepHatches = function (styles) {
    const kept = document.getElementById("hatches");
    const definitions = svg("defs");
    for (const [key, style] of Object.entries(styles)) {
      if (style.as !== "area" || !style.hatch) continue;
      const size = hatchSize[style.hatch];
      const ink = { stroke: style.hatchColour, "stroke-width": 1, fill: "none" };
      definitions.append(
        svg(
          "pattern",
          { id: nameOf(key), width: size, height: size, patternUnits: "userSpaceOnUse" },
          svg("rect", { width: size, height: size, fill: style.fill }),
          ...hatchLines[style.hatch](ink),
        ),
      );
    }
    kept.replaceChildren(definitions);
  };

  /** The paint of an area: its hatch, or its plain colour. */
  lateralMap.areaPaint = (key, style) => (style.hatch ? `url(#${nameOf(key)})` : style.fill);

  /** Draw the lozenge that names a utility on its line: its letter on its colour. */
  lateralMap.lozenge = function (style) {
    const half = style.letter.length > 1 ? 14 : 10;
    const letter = svg("text", { y: 3.6, "text-anchor": "middle", class: "letter", fill: paleOn(style.colour) ? "#16191c" : "#fff" });
    letter.textContent = style.letter;
    return svg(
      "svg",
      { width: 2 * half, height: 20, viewBox: `${-half} -10 ${2 * half} 20`, "aria-hidden": "true" },
      path(`M0-9.4 ${half - 0.6} 0 0 9.4 ${0.6 - half} 0z`, { fill: style.colour, stroke: "#16191c", "stroke-width": 1.2 }),
      letter,
    );
  };

  /* Relative luminance by WCAG 2.2; dark letters read better on anything above a mid grey. */
  function paleOn(colour) {
    const [r, g, b] = [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16) / 255).map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b > 0.179;
  }

  /** Draw a legend swatch for any style. */
  lateralMap.swatch = function (key, style) {
    const box = svg("svg", { class: "swatch", width: 34, height: 20, viewBox: "0 0 34 20", "aria-hidden": "true" });
    if (style.as === "mark") {
      const mark = lateralMap.symbol({ ...style, size: Math.min(style.size, 18) });
      mark.setAttribute("x", 17 - mark.getAttribute("width") / 2);
      mark.setAttribute("y", 10 - mark.getAttribute("height") / 2);
      box.append(mark);
    } else if (style.as === "area") {
      const edge = style.edge || { colour: "none", width: 0, dash: "" };
      box.append(
        svg("rect", {
          x: 2, y: 2.5, width: 30, height: 15, fill: lateralMap.areaPaint(key, style), "fill-opacity": style.opacity,
          stroke: edge.colour, "stroke-width": edge.width, "stroke-dasharray": edge.dash,
        }),
      );
    } else {
      box.append(...lineSwatch(style));
    }
    return box;
  };

  function lineSwatch(style) {
    const stroke = (colour, width, dash) =>
      path("M1 10H33", { stroke: colour, "stroke-width": width, "stroke-dasharray": dash, opacity: style.opacity, fill: "none" });
    const parts = [];
    if (style.casing && style.casing !== "#ffffff") parts.push(stroke(style.casing, style.casingWidth));
    parts.push(stroke(style.colour, Math.min(style.width, 12), style.dash));
    if (style.letter) {
      const lozenge = lateralMap.lozenge(style);
      lozenge.setAttribute("x", 17 - lozenge.getAttribute("width") / 2);
      lozenge.setAttribute("y", 0);
      parts.push(lozenge);
    }
    return parts;
  }
})();
