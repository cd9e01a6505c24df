"use strict";

/* Draws the layers of the data into the groups and panes the map was made with. */
(function () {
  /** Bring every layer's group to what the data says: what is drawn already is moved, not made anew. */
  lateralMap.drawLayers = function (page) {
    const ground = JSON.stringify([page.data.plane, page.plane.turnDeg, lateralMap.touchReach()]);
    const isMoved = ground !== page.ground;
    page.ground = ground;
    page.slots ??= {};
    const wanted = new Map(page.data.layers.map((layer) => [layer.key, layer.items]));
    for (const [key, group] of Object.entries(page.groups)) {
      // The footages go with the captions, for they go by the zoom.
      const items = (key !== "footage" && wanted.get(key)) || [];
      const cased = items.filter((item) => item.as === "line" && page.data.style[item.style].casing);
      const parts = [...cased.map((item) => ["casing", item]), ...items.map((item) => [item.as, item])];
      const slots = (page.slots[key] ||= []);
      const differs = parts.findIndex(([as, item], index) => slots[index]?.kind !== kindOf(as, item));
      // One that is of another kind lies over those before it and under those after it: from there on all is new.
      const keeps = differs < 0 ? parts.length : differs;
      for (const { shape } of slots.splice(keeps)) group.removeLayer(shape);
      parts.forEach(([as, item], index) => {
        const at = JSON.stringify(item.at);
        const slot = slots[index] || { kind: kindOf(as, item), pane: `plan-${key}`, index: index - cased.length };
        const stays = slot.shape && !isMoved && slot.at === at;
        Object.assign(slot, { item, at });
        if (!slot.shape) slots.push(slot);
        draw[as](page, slot, group, stays);
      });
    }
    page.marks = Object.values(page.slots).flat().filter(({ kind, item }) => kind.startsWith("mark") && item.detail >= 0);
    page.marks.sort((one, other) => (one.item.footage ?? Infinity) - (other.item.footage ?? Infinity));
    for (const mark of page.marks) describe(page, mark);
    keepOneStop(page);
    lateralMap.showPicture(page);
  };

  /* What a shape can not be changed in once it is drawn. */
  function kindOf(as, item) {
    return JSON.stringify([as, item.style, item.detail >= 0, as === "picture" ? item : null]).slice(2);
  }

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

  const draw = {
    casing(page, slot, group, stays) {
      if (stays) return;
      const at = places(page, slot.item.at);
      if (slot.shape) return slot.shape.setLatLngs(at);
      const style = page.data.style[slot.item.style];
      slot.shape = L.polyline(at, { pane: slot.pane, color: style.casing, weight: style.casingWidth, lineCap: "round", interactive: false, smoothFactor: 0.3 });
      group.addLayer(slot.shape);
    },

    line(page, slot, group, stays) {
      if (stays) return;
      const at = places(page, slot.item.at);
      if (slot.shape) return slot.shape.setLatLngs(at);
      const interactive = slot.item.detail >= 0;
      slot.shape = L.polyline(at, { pane: slot.pane, interactive, bubblingMouseEvents: true, ...stroke(page.data.style[slot.item.style]) });
      whenPicked(page, slot);
      group.addLayer(slot.shape);
    },

    area(page, slot, group, stays) {
      if (stays) return;
      const at = slot.item.at.map((part) => part.map((ring) => places(page, ring)));
      if (slot.shape) return slot.shape.setLatLngs(at);
      const style = page.data.style[slot.item.style];
      const edge = style.edge ? stroke(style.edge) : { stroke: false };
      slot.shape = L.polygon(at, {
        pane: slot.pane,
        interactive: slot.item.detail >= 0,
        bubblingMouseEvents: true,
        ...edge,
        fill: true,
        fillColor: lateralMap.areaPaint(slot.item.style, style),
        fillOpacity: style.opacity,
      });
      whenPicked(page, slot);
      group.addLayer(slot.shape);
    },

    picture(page, slot, group, stays) {
      if (stays) return;
      const { item } = slot;
      if (slot.shape) group.removeLayer(slot.shape);
      if (page.image?.getAttribute("src") !== item.src) {
        page.image = lateralMap.element("img", { class: "underlay leaflet-zoom-animated", src: item.src, alt: "", width: item.size[0], height: item.size[1] });
        page.image.style.clipPath = `polygon(${item.outline.map(([x, y]) => `${x}px ${y}px`).join(",")})`;
      }
      slot.shape = new TurnedPicture(page.image, places(page, item.at), item.size, { pane: slot.pane });
      group.addLayer(slot.shape);
    },

    mark(page, slot, group, stays) {
      const { item } = slot;
      const style = page.data.style[item.style];
      const look = `${item.scale} ${item.turn - page.plane.turnDeg} ${lateralMap.touchReach()}`;
      const icon = () => {
        const size = style.size * item.scale;
        const reach = item.detail < 0 ? size : Math.max(size, lateralMap.touchReach());
        return L.divIcon({ html: lateralMap.symbol(style, item.scale, item.turn - page.plane.turnDeg), className: "mark", iconSize: [reach, reach] });
      };
      if (slot.shape) {
        if (!stays) slot.shape.setLatLng(page.plane.toMap(item.at));
        if (slot.look !== look) slot.shape.setIcon(icon());
      } else {
        slot.shape = L.marker(page.plane.toMap(item.at), {
          pane: slot.pane,
          icon: icon(),
          keyboard: false,
          // Leaflet stacks marks by latitude: let the layer's own order outweigh it.
          zIndexOffset: 10000 * slot.index,
          interactive: item.detail >= 0,
          bubblingMouseEvents: true,
        });
        group.addLayer(slot.shape);
        if (item.detail >= 0) watchMark(page, slot);
      }
      slot.look = look;
    },
  };

  function watchMark(page, slot) {
    slot.shape.on("add", () => describe(page, slot));
    slot.shape.on("remove", () => keepOneStop(page));
    slot.shape.on("click", (event) => {
      if (page.measuring()) return;
      L.DomEvent.stopPropagation(event);
      const { item: picked } = nearestMark(page, event.originalEvent) || slot;
      page.pick(picked.detail, picked.footage, event.latlng);
    });
  }

  /** How wide a mark is to the touch, in pixels: a finger wants more room than a pointer. */
  lateralMap.touchReach = () => (window.matchMedia("(pointer: coarse)").matches ? 44 : 26);

  /* Where marks stand close together their reaches overlap: the nearest is the one that is meant. */
  function nearestMark(page, touched) {
    // The map's own event tells the place of the mark, not of the finger.
    const at = page.map.mouseEventToContainerPoint(touched);
    let best = null;
    for (const kept of page.marks) {
      if (!page.map.hasLayer(kept.shape)) continue;
      const gap = at.distanceTo(page.map.latLngToContainerPoint(kept.shape.getLatLng()));
      if (gap <= lateralMap.touchReach() && (!best || gap < best.gap)) best = { gap, item: kept.item };
    }
    return best;
  }

  function whenPicked(page, slot) {
    if (slot.item.detail < 0) return;
    slot.shape.on("click", (event) => {
      if (page.measuring()) return;
      L.DomEvent.stopPropagation(event);
      page.pick(slot.item.detail, slot.item.footage, event.latlng);
    });
  }

  /* The marks are one stop of the Tab key; the arrow keys go from one to the next along the line. */
  function keepOneStop(page) {
    const shown = page.marks.map(({ shape }) => shape.getElement()).filter(Boolean);
    if (!shown.length || shown.some(({ tabIndex }) => tabIndex === 0)) return;
    shown[0].tabIndex = 0;
  }

  function describe(page, kept) {
    const shown = kept.shape.getElement();
    const { title } = page.data.details[kept.item.detail];
    if (!shown) return;
    if (shown.getAttribute("aria-label") !== title) shown.setAttribute("aria-label", title);
    if (shown.getAttribute("role") === "button") return; // listened to already
    shown.setAttribute("role", "button");
    shown.tabIndex = -1;
    shown.addEventListener("focus", () => {
      for (const { shape } of page.marks) if (shape.getElement()) shape.getElement().tabIndex = -1;
      shown.tabIndex = 0;
    });
    shown.addEventListener("keydown", (event) => {
      const others = page.marks.filter(({ shape }) => shape.getElement());
      const here = others.indexOf(kept);
      const steps = { ArrowRight: here + 1, ArrowDown: here + 1, ArrowLeft: here - 1, ArrowUp: here - 1, Home: 0, End: others.length - 1 };
      if (event.key === "Enter" || event.key === " ") page.pick(kept.item.detail, kept.item.footage, null);
      else if (event.key in steps) {
        const next = others[Math.min(Math.max(steps[event.key], 0), others.length - 1)].shape;
        page.map.panInside(next.getLatLng(), { padding: [40, 40], animate: false });
        next.getElement().focus({ preventScroll: true });
      } else return;
      event.preventDefault();
      event.stopPropagation();
    });
  }
})();
