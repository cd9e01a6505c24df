"use strict";

/* One name for everything the page's scripts share. Text reaches the page through textContent only. */
const lateralMap = {};

/** Make an HTML element with attributes, text and children. */
lateralMap.element = function (name, attributes, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes || {})) {
    if (key === "text") made.textContent = value;
    else if (key === "on") for (const [event, act] of Object.entries(value)) made.addEventListener(event, act);
    else if (value === true) made.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(key, value);
  }
  made.append(...children);
  return made;
};

/** Make an SVG element with attributes and children. */
lateralMap.svg = function (name, attributes, ...children) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes || {})) {
    if (value !== null && value !== undefined && value !== "") made.setAttribute(key, value);
  }
  made.append(...children);
  return made;
};

/** Say a length in metres in the site's unit. */
lateralMap.sayLength = function (metres, unit) {
  return `${(metres / unit.metres).toFixed(unit.decimals)} ${unit.word}`;
};

/**
 * Carry points between the site's plane (metres, easting first) and the map. A flat map is the plane
 * itself, turned anticlockwise by so many degrees; on an online base map north stays up.
 */
lateralMap.makePlane = function (link, turnDeg) {
  if (link.flat) {
    const [cos, sin] = [Math.cos((turnDeg * Math.PI) / 180), Math.sin((turnDeg * Math.PI) / 180)];
    return {
      turnDeg,
      toMap: ([east, north]) => L.latLng(east * sin + north * cos, east * cos - north * sin),
      toPlane: ({ lng, lat }) => [lng * cos + lat * sin, lat * cos - lng * sin],
    };
  }
  const apply = (rows, u, v) => {
    const terms = [1, u, v, u * u, u * v, v * v];
    return rows.map((row) => row.reduce((sum, factor, index) => sum + factor * terms[index], 0));
  };
  const { centre_m: middle, reach_m: reach, centre_deg: middleDeg, reach_deg: reachDeg } = link;
  return {
    turnDeg: 0,
    toMap: (at) => {
      const [x, y] = apply(link.to_lonlat, (at[0] - middle[0]) / reach, (at[1] - middle[1]) / reach);
      return L.latLng(middleDeg[1] + y * reachDeg[1], middleDeg[0] + x * reachDeg[0]);
    },
    toPlane: (place) => {
      const u = (place.lng - middleDeg[0]) / reachDeg[0];
      const v = (place.lat - middleDeg[1]) / reachDeg[1];
      const [x, y] = apply(link.to_plane, u, v);
      return [middle[0] + x * reach, middle[1] + y * reach];
    },
  };
};
