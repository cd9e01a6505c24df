"use strict";

/* What of the site is in view: the line along the pane, as large as it goes, until a hand moves it. */
(function () {
  const EDGE = { left: 52, top: 52, right: 52, bottom: 58 };
  const NEAREST_ZOOM = 7; // 128 pixels to the metre: a line of a few feet is not blown up further
  const GIVEN_UP = 0.35; // zoom levels the line may lose for a point to tape from to come into view
  const SAME_TURN_DEG = 6;

  /** Watch the pane's size, the hand on the map, and the button that sets north up. */
  lateralMap.watchView = function (page) {
    const { map } = page;
    page.moved = false;
    let [setting, fitted] = [false, false];
    map.on("movestart zoomstart", () => {
      if (!setting) page.moved = true;
    });
    page.fit = () => {
      const size = map.getSize();
      if (size.x < EDGE.left + EDGE.right + 20 || size.y < EDGE.top + EDGE.bottom + 20) return;
      page.moved = false;
      const turns = page.data.plane.flat && page.data.view.along && !page.northUp ? turnsAlong(page.data.view.along) : [0];
      const views = turns.map((turnDeg) => viewOf(page, turnDeg, size));
      const best = views.reduce((one, other) => (other.zoom > one.zoom ? other : one));
      const apart = Math.abs(((best.turnDeg - page.plane.turnDeg + 540) % 360) - 180);
      // A line that new readings shift a little does not swing the whole plan.
      if (apart > (fitted ? SAME_TURN_DEG : 0)) page.turnTo(best.turnDeg);
      fitted = true;
      const view = viewOf(page, page.plane.turnDeg, size);
      setting = true;
      map.setView(view.centre, view.zoom, { animate: false });
      setting = false;
    };
    document.getElementById("whole-site").addEventListener("click", () => page.fit());
    watchNorth(page, () => {
      fitted = false;
    });
    new ResizeObserver(() => {
      map.invalidateSize({ animate: false });
      if (!page.moved) page.fit();
    }).observe(map.getContainer());
  };

  /* Along a wide pane from left to right, up a tall one. */
  function turnsAlong([east, north]) {
    const anticlockwise = (Math.atan2(north, east) * 180) / Math.PI;
    return [-anticlockwise, 90 - anticlockwise];
  }

  function viewOf(page, turnDeg, size) {
    const { map, data } = page;
    const plane = lateralMap.makePlane(data.plane, turnDeg);
    const { crs } = map.options;
    const placed = (at) => crs.latLngToPoint(plane.toMap(at), 0);
    const room = L.point(size.x - EDGE.left - EDGE.right, size.y - EDGE.top - EDGE.bottom);
    const most = data.plane.flat ? NEAREST_ZOOM : 24;
    const zoomOf = (box) => {
      const span = box.getSize();
      return Math.min(Math.log2(Math.min(room.x / Math.max(span.x, 1e-9), room.y / Math.max(span.y, 1e-9))), most);
    };
    let box = L.bounds(data.view.must.map(placed));
    const alone = zoomOf(box);
    const gap = (at) => Math.max(box.min.x - at.x, at.x - box.max.x, 0) + Math.max(box.min.y - at.y, at.y - box.max.y, 0);
    for (const at of data.view.beside.map(placed).sort((a, b) => gap(a) - gap(b))) {
      const wider = L.bounds([box.min, box.max, at]);
      if (zoomOf(wider) >= alone - GIVEN_UP) box = wider;
    }
    const snap = map.options.zoomSnap;
    const zoom = Math.max(Math.floor(zoomOf(box) / snap) * snap, map.getMinZoom());
    const aside = L.point(EDGE.right - EDGE.left, EDGE.bottom - EDGE.top).divideBy(2 * crs.scale(zoom) / crs.scale(0));
    return { turnDeg, zoom, centre: crs.pointToLatLng(box.getCenter().add(aside), 0) };
  }

  function watchNorth(page, turnAnew) {
    const button = document.getElementById("north-up");
    button.hidden = !page.data.plane.flat;
    page.northUp = false;
    button.addEventListener("click", () => {
      page.northUp = !page.northUp;
      turnAnew();
      button.setAttribute("aria-pressed", String(page.northUp));
      if (!page.moved) return page.fit();
      // Whoever looks at a place closely goes on looking at it.
      const [middle, zoom] = [page.plane.toPlane(page.map.getCenter()), page.map.getZoom()];
      page.fit();
      page.map.setView(page.plane.toMap(middle), zoom, { animate: false });
      page.moved = true;
    });
  }
})();
