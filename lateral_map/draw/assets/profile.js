"use strict";

/* The profile, and the station that map and profile both point at. */
(function () {
  const { svg, element } = lateralMap;

  /** Put the profiles there are, wide and narrow, into the page. */
  lateralMap.drawProfiles = function (page) {
    page.sheets = Object.keys(page.data.profiles).map((name) => {
      const data = page.data.profiles[name];
      const parsed = new DOMParser().parseFromString(data.svg, "image/svg+xml").documentElement;
      const drawing = document.importNode(parsed, true);
      drawing.removeAttribute("width");
      drawing.removeAttribute("height");
      drawing.setAttribute("aria-hidden", "true");
      const upright = svg("line", { y1: data.top, y2: data.bottom, class: "cursor-line" });
      const dot = svg("circle", { r: 5, class: "cursor-dot" });
      const cursor = svg("g", { class: "cursor", visibility: "hidden" }, upright, dot);
      drawing.append(cursor);
      document.getElementById(`profile-${name}`).replaceChildren(drawing);
      return { data, drawing, cursor, upright, dot };
    });
  };

  /** Follow the pointer, the finger and the arrow keys over the profile. */
  lateralMap.watchProfile = function (page) {
    const slider = document.getElementById("profile-slider");
    const follow = (event) => {
      const sheet = page.sheets.find((each) => each.drawing.getBoundingClientRect().width > 0);
      if (!sheet) return;
      const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(sheet.drawing.getScreenCTM().inverse());
      const { left, right, from, to } = sheet.data;
      const share = Math.min(Math.max((at.x - left) / (right - left), 0), 1);
      page.point(page.stationAt((from + share * (to - from)) * page.data.unit.metres), "profile");
    };
    slider.addEventListener("pointermove", follow);
    slider.addEventListener("pointerdown", follow);
    slider.addEventListener("keydown", (event) => {
      const last = page.data.stations.footage.length - 1;
      const now = Math.max(page.station, 0);
      const steps = { ArrowRight: now + 1, ArrowUp: now + 1, ArrowLeft: now - 1, ArrowDown: now - 1, PageUp: now + 10, PageDown: now - 10, Home: 0, End: last };
      if (!(event.key in steps)) return;
      event.preventDefault();
      page.point(Math.min(Math.max(steps[event.key], 0), last), "keys");
    });
  };

  /** Follow the pointer over the map: the station nearest to it, where it is near the line. */
  lateralMap.watchMap = function (page) {
    const NEAR_PX = 60;
    const follow = (event) => {
      const nearest = page.stationNear(event.latlng);
      const at = page.map.latLngToContainerPoint(page.plane.toMap(page.data.stations.at[nearest]));
      if (at.distanceTo(event.containerPoint) <= NEAR_PX) page.point(nearest, "map");
    };
    page.map.on("mousemove", follow);
    page.map.on("click", (event) => !page.measuring() && follow(event));
  };

  /** Point map, profile and read-out at one station. */
  lateralMap.pointAt = function (page, station, source) {
    const { stations } = page.data;
    page.station = station;
    const place = page.plane.toMap(stations.at[station]);
    page.cursor.setLatLng(place);
    page.ellipse.setLatLngs(ellipse(page, station));
    if (!page.map.hasLayer(page.cursor)) page.cursorGroup.addTo(page.map);
    if (source === "keys" || source === "table") page.map.panInside(place, { padding: [50, 50], animate: false });
    for (const sheet of page.sheets) {
      const { left, right, top, bottom, from, to, low, high } = sheet.data;
      const x = left + ((stations.footage[station] / page.data.unit.metres - from) / (to - from)) * (right - left);
      const y = bottom - ((stations.elevation[station] - low) / (high - low)) * (bottom - top);
      sheet.upright.setAttribute("x1", x);
      sheet.upright.setAttribute("x2", x);
      sheet.dot.setAttribute("cx", x);
      sheet.dot.setAttribute("cy", y);
      sheet.cursor.setAttribute("visibility", "visible");
    }
    tell(page, station);
  };

  function ellipse(page, station) {
    const [major, minor, azimuth] = page.data.stations.ellipse[station];
    const [east, north] = page.data.stations.at[station];
    const turn = (azimuth * Math.PI) / 180;
    return Array.from({ length: 48 }, (_, step) => {
      const angle = (step * Math.PI) / 24;
      const [a, b] = [major * Math.cos(angle), minor * Math.sin(angle)];
      return page.plane.toMap([east + a * Math.sin(turn) + b * Math.cos(turn), north + a * Math.cos(turn) - b * Math.sin(turn)]);
    });
  }

  function tell(page, station) {
    const words = page.data.stations.words[station];
    const names = page.data.stations.names;
    document
      .getElementById("readout")
      .replaceChildren(...names.flatMap((name, index) => [element("dt", { text: name }), element("dd", { text: words[index] })]));
    const slider = document.getElementById("profile-slider");
    slider.setAttribute("aria-valuemax", page.data.stations.footage.length - 1);
    slider.setAttribute("aria-valuenow", station);
    slider.setAttribute("aria-valuetext", names.map((name, index) => `${name} ${words[index]}`).join(", "));
  }
})();
