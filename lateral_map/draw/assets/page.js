"use strict";

/* Puts the page together: the map made by the script before this one, and the data beside it. */
(function () {
  const page = { groups: {}, wanted: {}, sheets: [], station: -1, data: null, plane: null, measuring: () => false };

  /** Take the map, its groups and its base map over from the script that made them. */
  function takeMap() {
    page.map = window.map_site;
    for (const key of page.data.groups) page.groups[key] = window[`feature_group_${key}`];
    page.baseMap = window.tile_layer_site || null;
    const cursorStyle = page.data.style.cursor;
    const edge = page.data.style.ellipse;
    page.ellipse = L.polygon([], { pane: "plan-cursor", interactive: false, color: edge.edge.colour, weight: edge.edge.width, dashArray: edge.edge.dash, fillColor: edge.fill, fillOpacity: edge.opacity });
    page.cursor = L.marker([0, 0], {
      pane: "plan-cursor",
      interactive: false,
      keyboard: false,
      icon: L.divIcon({ html: lateralMap.symbol(cursorStyle), className: "mark cursor", iconSize: [cursorStyle.size, cursorStyle.size] }),
    });
    page.cursorGroup = L.layerGroup([page.ellipse, page.cursor]);
    document.getElementById("detail-close").addEventListener("click", lateralMap.closeDetail);
    document.addEventListener("keydown", (event) => event.key === "Escape" && lateralMap.closeDetail());
    page.map.on("zoomstart", () => ["captions", "footage"].forEach((name) => page.map.getPane(`plan-${name}`).replaceChildren()));
    page.map.on("moveend", letter);
    lateralMap.makeMeasure(page);
    lateralMap.watchMap(page);
    lateralMap.watchProfile(page);
    lateralMap.watchView(page);
    lateralMap.watchPaper(page);
    document.getElementById("key").open = window.innerWidth > 760;
  }

  /* Scale and captions are of the view: drawn anew whenever it was set. */
  function letter() {
    page.isLettered = true;
    lateralMap.drawScale(page);
    lateralMap.drawCaptions(page);
  }

  /** Turn the plan and draw anew what stands on it. */
  page.turnTo = (turnDeg) => {
    page.plane = lateralMap.makePlane(page.data.plane, turnDeg);
    lateralMap.drawLayers(page);
    lateralMap.drawNorth(page);
    if (page.station >= 0) page.point(page.station, "redraw");
  };

  page.stationAt = (footage) => nearest(page.data.stations.footage.map((value) => Math.abs(value - footage)));
  page.stationNear = (place) => {
    const [east, north] = page.plane.toPlane(place);
    return nearest(page.data.stations.at.map((at) => Math.hypot(at[0] - east, at[1] - north)));
  };
  const nearest = (distances) => distances.reduce((best, value, index) => (value < distances[best] ? index : best), 0);

  page.point = (station, source) => lateralMap.pointAt(page, station, source);
  page.pick = (detail, footage, place) => {
    lateralMap.openDetail(page, detail);
    if (footage !== null && footage !== undefined) page.point(page.stationAt(footage), "pick");
    else if (place) page.point(page.stationNear(place), "pick");
  };

  /** Show a site: the first call sets the view, later ones keep view, layers and station. */
  lateralMap.show = function (data) {
    const first = page.data === null;
    const footage = page.station >= 0 ? page.data.stations.footage[page.station] : null;
    page.data = data;
    page.plane = lateralMap.makePlane(data.plane, first ? 0 : page.plane.turnDeg);
    lateralMap.keepHatches(data.style);
    if (first) takeMap();
    lateralMap.writeWords(page);
    lateralMap.drawProfiles(page);
    page.turnTo(page.plane.turnDeg);
    lateralMap.drawKey(page);
    page.isLettered = false;
    if (!page.moved) page.fit();
    if (!page.isLettered) letter();
    if (footage !== null) page.point(page.stationAt(footage), "redraw");
  };

  lateralMap.page = page;
  window.lateralMap = lateralMap;
  lateralMap.show(JSON.parse(document.getElementById("site-data").textContent));
})();
