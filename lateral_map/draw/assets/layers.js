"use strict";

/* Draws the layers of the data into the groups and panes the map was made with. */
(function () {
  /** Fill every layer's group anew from the data. */
  lateralMap.drawLayers = function (page) {
    for (const group of Object.values(page.groups)) group.clearLayers();
    for (const layer of page.data.layers) {
      const group = page.groups[layer.key];
      const pane = `plan-${layer.key}`;
      for (const item of layer.items) if (item.as === "line") addCasing(page, group, pane, item);
      for (const item of layer.items) add[item.as](page, group, pane, item);
    }
  };

  const places = (page, points) => points.map((at) => page.plane.toMap(at));
  const stroke = (style) => ({
    color: style.colour,
    weight: style.width,
    opacity: style.opacity,
    dashArray: style.dash || null,
    lineCap: "butt",
    lineJoin: "round",
    smoothFactor: 0.3,
  });

  function addCasing(page, group, pane, item) {
    const style = page.data.style[item.style];
    if (!style.casing) return;
    const options = { pane, color: style.casing, weight: style.casingWidth, lineCap: "round", interactive: false, smoothFactor: 0.3 };
    group.addLayer(L.polyline(places(page, item.at), options));
  }

  const add = {
    line(page, group, pane, item) {
      const style = page.data.style[item.style];
      const interactive = item.detail >= 0;
      const line = L.polyline(places(page, item.at), { pane, interactive, bubblingMouseEvents: true, ...stroke(style) });
      whenPicked(page, line, item);
      group.addLayer(line);
    },

    area(page, group, pane, item) {
      const style = page.data.style[item.style];
      const edge = style.edge ? stroke(style.edge) : { stroke: false };
      const rings = item.at.map((part) => part.map((ring) => places(page, ring)));
      const area = L.polygon(rings, {
        pane,
        interactive: item.detail >= 0,
        bubblingMouseEvents: true,
        ...edge,
        fill: true,
        fillColor: lateralMap.areaPaint(item.style, style),
        fillOpacity: style.opacity,
      });
      whenPicked(page, area, item);
      group.addLayer(area);
    },

    mark(page, group, pane, item) {
      const style = page.data.style[item.style];
      const symbol = lateralMap.symbol(style, item.scale, item.turn);
      const size = style.size * item.scale;
      const mark = L.marker(page.plane.toMap(item.at), {
        pane,
        icon: L.divIcon({ html: symbol, className: "mark", iconSize: [size, size] }),
        keyboard: item.detail >= 0,
        bubblingMouseEvents: true,
      });
      mark.on("add", () => describe(page, mark.getElement(), item));
      whenPicked(page, mark, item);
      group.addLayer(mark);
    },
  };

  function whenPicked(page, layer, item) {
    if (item.detail < 0) return;
    layer.on("click", (event) => {
      if (page.measuring()) return;
      L.DomEvent.stopPropagation(event);
      page.pick(item.detail, item.footage, event.latlng);
    });
  }

  function describe(page, element, item) {
    if (item.detail < 0) return;
    element.setAttribute("role", "button");
    element.setAttribute("aria-label", page.data.details[item.detail].title);
    element.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      event.stopPropagation();
      page.pick(item.detail, item.footage, null);
    });
  }
})();
