"use strict";

/* Scale bar, north, the list of layers, and measuring, all in the site's own plane. */
(function () {
  const { element, svg } = lateralMap;
  const BAR_PX = 150;

  /** Draw the scale bar for the middle of the view. */
  lateralMap.drawScale = function (page) {
    const size = page.map.getSize();
    const y = size.y / 2;
    const left = page.plane.toPlane(page.map.containerPointToLatLng([size.x / 2 - 50, y]));
    const right = page.plane.toPlane(page.map.containerPointToLatLng([size.x / 2 + 50, y]));
    const metresPerPixel = Math.hypot(right[0] - left[0], right[1] - left[1]) / 100;
    const steps = page.data.scale.filter((step) => step.metres / metresPerPixel <= BAR_PX);
    const step = steps.length ? steps[steps.length - 1] : page.data.scale[0];
    const width = step.metres / metresPerPixel;
    const cell = (index) => svg("rect", { x: 1 + (index * width) / 4, y: 1, width: width / 4, height: 7, fill: index % 2 ? "#fff" : "#16191c", stroke: "#16191c" });
    const bar = svg("svg", { width: width + 2, height: 9, "aria-hidden": "true" }, ...[0, 1, 2, 3].map(cell));
    const words = element("span", { text: step.words });
    const holder = document.getElementById("scale");
    holder.setAttribute("data-metres", step.metres);
    holder.setAttribute("data-pixels", width);
    holder.replaceChildren(bar, words);
  };

  /** Draw the north arrow and say what its north is; a sketch has an up of its own instead. */
  lateralMap.drawNorth = function (page) {
    const { north } = page.data;
    const letter = svg("text", { y: 4, "text-anchor": "middle", class: "north-letter" });
    letter.textContent = north.letter;
    const arrow = svg(
      "svg",
      { width: 48, height: 48, viewBox: "-25 -25 50 50", "aria-hidden": "true" },
      svg(
        "g",
        { transform: `rotate(${-page.plane.turnDeg})` },
        svg("path", { d: "M0-12 8 18 0 12z", fill: "#16191c", stroke: "#16191c" }),
        svg("path", { d: "M0-12-8 18 0 12z", fill: "#fff", stroke: "#16191c" }),
        svg("g", { transform: `translate(0-18) rotate(${page.plane.turnDeg})` }, letter),
      ),
    );
    document.getElementById("north").replaceChildren(arrow, element("span", { text: north.words }));
    document.getElementById("north-up").textContent = north.button;
  };

  /** List the layers with a switch and a legend each. */
  lateralMap.drawKey = function (page) {
    const list = document.getElementById("layers");
    list.replaceChildren();
    for (const key of page.data.key) {
      const layer = page.data.layers.find((each) => each.key === key);
      if (layer) list.append(layerRow(page, layer));
    }
    if (page.baseMap) list.append(baseMapRow(page));
  };

  function layerRow(page, layer) {
    const group = page.groups[layer.key];
    const on = page.wanted[layer.key] ?? layer.shown;
    const set = (shown) => {
      page.wanted[layer.key] = shown;
      if (shown) page.map.addLayer(group);
      else page.map.removeLayer(group);
      row.classList.toggle("off", !shown);
      if (layer.key === "picture") lateralMap.showPicture(page);
    };
    const change = (event) => {
      set(event.target.checked);
      lateralMap.drawCaptions(page);
    };
    const box = element("input", { type: "checkbox", id: `layer-${layer.key}`, "data-layer": layer.key, on: { change } });
    box.checked = on;
    const rows = layer.legend.map(([style, words]) =>
      element("li", {}, lateralMap.swatch(style, page.data.style[style]), element("span", { text: words, dir: "ltr" })),
    );
    const head = element("label", { for: box.id }, box, element("span", { text: layer.title }));
    const row = element("div", { class: "layer" }, head, element("ul", {}, ...rows));
    for (const item of layer.items) if (item.as === "picture") row.append(...pictureRows(page, item));
    set(on);
    return row;
  }

  /* How strongly the picture shows, and how large it is. */
  function pictureRows(page, item) {
    const input = (event) => {
      page.opacity = event.target.value / 100;
      lateralMap.showPicture(page);
    };
    const slider = element("input", { type: "range", id: "picture-opacity", min: 0, max: 100, step: 5, value: Math.round(page.opacity * 100), on: { input } });
    const head = element("label", { class: "opacity", for: slider.id }, element("span", { text: "Opacity" }), slider);
    return [head, element("p", { class: "embedded", text: item.caption })];
  }

  function baseMapRow(page) {
    const change = (event) => {
      if (event.target.checked) page.map.addLayer(page.baseMap);
      else page.map.removeLayer(page.baseMap);
    };
    const box = element("input", { type: "checkbox", id: "layer-base-map", on: { change } });
    box.checked = true;
    return element("div", { class: "layer" }, element("label", { for: box.id }, box, element("span", { text: "Online base map" })));
  }

  /** Let people measure along straight lines: by pointer, or by keyboard from the map's middle. */
  lateralMap.makeMeasure = function (page) {
    const button = document.getElementById("measure");
    const answer = document.getElementById("measured");
    const map = page.map;
    const track = L.polyline([], { pane: "plan-measure", color: "#16191c", weight: 2.5, dashArray: "6 4", interactive: false });
    const dots = L.layerGroup();
    let points = [];
    let on = false;

    const distance = (list) => list.slice(1).reduce((sum, at, i) => sum + Math.hypot(at[0] - list[i][0], at[1] - list[i][1]), 0);
    function tell() {
      track.setLatLngs(points.map(page.plane.toMap));
      dots.clearLayers();
      for (const at of points) {
        dots.addLayer(L.circleMarker(page.plane.toMap(at), { pane: "plan-measure", radius: 4, color: "#16191c", weight: 2, fillColor: "#fff", fillOpacity: 1, interactive: false }));
      }
      const last = points.slice(-2);
      const unit = page.data.unit;
      answer.textContent =
        points.length < 2
          ? "Tap points, or press Enter at the cross. Backspace takes one back, Escape ends."
          : `${lateralMap.sayLength(distance(points), unit)} in all, last ${lateralMap.sayLength(distance(last), unit)}`;
    }
    function turn(now) {
      on = now;
      points = [];
      button.setAttribute("aria-pressed", String(on));
      answer.hidden = !on;
      map.getContainer().classList.toggle("measuring", on);
      if (on) {
        lateralMap.closeDetail();
        map.doubleClickZoom.disable();
        track.addTo(map);
        dots.addTo(map);
        tell();
        map.getContainer().focus({ preventScroll: true });
      } else {
        map.doubleClickZoom.enable();
        track.remove();
        dots.remove();
      }
    }
    function put(place) {
      points.push(page.plane.toPlane(place));
      tell();
    }
    button.addEventListener("click", () => turn(!on));
    map.on("click", (event) => on && put(event.latlng));
    map.getContainer().addEventListener("keydown", (event) => {
      if (!on) return;
      if (event.key === "Enter") put(map.getCenter());
      else if (event.key === "Escape") turn(false);
      else if (event.key === "Backspace") {
        points.pop();
        tell();
      } else return;
      event.preventDefault();
    });
    page.measuring = () => on;
    page.measured = () => distance(points);
  };
})();
