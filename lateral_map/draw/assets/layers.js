"use strict";

/* Draws the layers of the data into the groups and panes the map was made with. */
(function () {
  /** Fill every layer's group anew from the data. */
  lateralMap.drawLayers = function (page) {
    for (const group of Object.values(page.groups)) group.clearLayers();
    page.marks = [];
    for (const layer of page.data.layers) {
      if (layer.key === "footage") continue; // with the captions, for they go by the zoom
      const group = page.groups[layer.key];
      const pane = `plan-${layer.key}`;
      for (const item of layer.items) if (item.as === "line") addCasing(page, group, pane, item);
      for (const item of layer.items) add[item.as](page, group, pane, item);
    }
    page.marks.sort((one, other) => (one.item.footage ?? Infinity) - (other.item.footage ?? Infinity));
    keepOneStop(page);
    lateralMap.showPicture(page);
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

  /* A picture by three of its corners: Leaflet's own overlay only knows upright ones. */
  const TurnedPicture = L.Layer.extend({
    initialize(image, corners, size, options) {
      Object.assign(this, { image, corners, size });
      L.setOptions(this, options);
    },
    getEvents() {
      return {
        zoom: this.place,
        viewreset: this.place,
        zoomanim: ({ zoom, center }) => this.lay((at) => this._map._latLngToNewLayerPoint(at, zoom, center)),
      };
    },
    onAdd() {
      this.getPane().append(this.image);
      this.place();
    },
    onRemove() {
      this.image.remove();
    },
    place() {
      this.lay((at) => this._map.options.crs.latLngToPoint(at, this._map.getZoom()).subtract(this._map.getPixelOrigin()));
    },
    lay(placed) {
      const [first, right, down] = this.corners.map(placed);
      const [wide, high] = this.size;
      const steps = [(right.x - first.x) / wide, (right.y - first.y) / wide, (down.x - first.x) / high, (down.y - first.y) / high];
      this.image.style.transform = `matrix(${[...steps, first.x, first.y].join(",")})`;
    },
  });

  /** Show the picture as strongly as its slider says: what is laid on the ground lets it through. */
  lateralMap.showPicture = function (page) {
    page.opacity ??= 0.8;
    if (page.image) page.image.style.opacity = page.opacity;
    const shown = page.image && page.groups.picture.getLayers().length && page.map.hasLayer(page.groups.picture);
    for (const key of ["surfaces", "buildings"]) page.map.getPane(`plan-${key}`).style.opacity = shown ? 1 - 0.75 * page.opacity : 1;
  };

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

    picture(page, group, pane, item) {
      if (page.image?.getAttribute("src") !== item.src) {
        page.image = lateralMap.element("img", { class: "underlay leaflet-zoom-animated", src: item.src, alt: "", width: item.size[0], height: item.size[1] });
        page.image.style.clipPath = `polygon(${item.outline.map(([x, y]) => `${x}px ${y}px`).join(",")})`;
      }
      group.addLayer(new TurnedPicture(page.image, places(page, item.at), item.size, { pane }));
    },

    mark(page, group, pane, item) {
      const style = page.data.style[item.style];
      const symbol = lateralMap.symbol(style, item.scale, item.turn - page.plane.turnDeg);
      const size = style.size * item.scale;
      const reach = item.detail < 0 ? size : Math.max(size, lateralMap.touchReach());
      const mark = L.marker(page.plane.toMap(item.at), {
        pane,
        icon: L.divIcon({ html: symbol, className: "mark", iconSize: [reach, reach] }),
        keyboard: false,
        // Leaflet stacks marks by latitude: let the layer's own order outweigh it.
        zIndexOffset: 10000 * group.getLayers().length,
        interactive: item.detail >= 0,
        bubblingMouseEvents: true,
      });
      group.addLayer(mark);
      if (item.detail < 0) return;
      const kept = { item, mark };
      page.marks.push(kept);
      mark.on("add", () => describe(page, kept));
      mark.on("remove", () => keepOneStop(page));
      mark.on("click", (event) => {
        if (page.measuring()) return;
        L.DomEvent.stopPropagation(event);
        const { item: picked } = nearestMark(page, event.originalEvent) || kept;
        page.pick(picked.detail, picked.footage, event.latlng);
      });
      if (mark.getElement()) describe(page, kept);
    },
  };

  /** How wide a mark is to the touch, in pixels: a finger wants more room than a pointer. */
  lateralMap.touchReach = () => (window.matchMedia("(pointer: coarse)").matches ? 44 : 26);

  /* Where marks stand close together their reaches overlap: the nearest is the one that is meant. */
  function nearestMark(page, touched) {
    // The map's own event tells the place of the mark, not of the finger.
    const at = page.map.mouseEventToContainerPoint(touched);
    let best = null;
    for (const kept of page.marks) {
      if (!page.map.hasLayer(kept.mark)) continue;
      const gap = at.distanceTo(page.map.latLngToContainerPoint(kept.mark.getLatLng()));
      if (gap <= lateralMap.touchReach() && (!best || gap < best.gap)) best = { gap, item: kept.item };
    }
    return best;
  }

  function whenPicked(page, layer, item) {
    if (item.detail < 0) return;
    layer.on("click", (event) => {
      if (page.measuring()) return;
      L.DomEvent.stopPropagation(event);
      page.pick(item.detail, item.footage, event.latlng);
    });
  }

  /* The marks are one stop of the Tab key; the arrow keys go from one to the next along the line. */
  function keepOneStop(page) {
    const shown = page.marks.filter(({ mark }) => mark.getElement());
    if (!shown.length || shown.some(({ mark }) => mark.getElement().tabIndex === 0)) return;
    shown[0].mark.getElement().tabIndex = 0;
  }

  function describe(page, kept) {
    const shown = kept.mark.getElement();
    shown.setAttribute("role", "button");
    shown.setAttribute("aria-label", page.data.details[kept.item.detail].title);
    shown.tabIndex = -1;
    shown.addEventListener("focus", () => {
      for (const { mark } of page.marks) if (mark.getElement()) mark.getElement().tabIndex = -1;
      shown.tabIndex = 0;
    });
    shown.addEventListener("keydown", (event) => {
      const others = page.marks.filter(({ mark }) => mark.getElement());
      const here = others.indexOf(kept);
      const steps = { ArrowRight: here + 1, ArrowDown: here + 1, ArrowLeft: here - 1, ArrowUp: here - 1, Home: 0, End: others.length - 1 };
      if (event.key === "Enter" || event.key === " ") page.pick(kept.item.detail, kept.item.footage, null);
      else if (event.key in steps) {
        const next = others[Math.min(Math.max(steps[event.key], 0), others.length - 1)].mark;
        page.map.panInside(next.getLatLng(), { padding: [40, 40], animate: false });
        next.getElement().focus({ preventScroll: true });
      } else return;
      event.preventDefault();
      event.stopPropagation();
    });
    keepOneStop(page);
  }
})();
