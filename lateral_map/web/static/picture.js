/* The map and the profile: drawn by the drawing's own script, the same as in map.html. */

import { byId, isNarrow, make, pace, say } from "./parts.js";

let drawing = null; // the script is loaded with the first picture there is

/** Put the profile in its place; what was drawn before stays until then. */
export function showProfile(profiles) {
  if (!page() || !Object.keys(profiles).length) return;
  page().data.profiles = profiles;
  // Only the one asked for is drawn; the other may stand there from before the window changed.
  for (const name of ["wide", "narrow"]) if (!(name in profiles)) byId(`profile-${name}`).replaceChildren();
  window.lateralMap.drawProfiles(page());
  if (page().station >= 0) page().point(page().station, "redraw");
}

/** Show a picture, or say why there is none; resolves once it is drawn. */
export async function showPicture(picture) {
  const words = byId("no-picture");
  words.hidden = Boolean(picture);
  if (!picture) {
    words.textContent = say("nothing_drawn");
    return;
  }
  const note = byId("picture-note");
  note.hidden = !(picture.old || picture.plan_only);
  note.textContent = say(picture.old ? "picture_old" : "only_plan");
  if (!drawing) {
    byId("site-data").textContent = JSON.stringify(picture.data);
    drawing = loadDrawing();
    await drawing;
    follow(picture.data.view.must);
    window.lateralMap.page.map.on("click", (event) => placing.put?.(event.latlng));
  } else {
    await drawing;
    window.lateralMap.show(picture.data);
    follow(picture.data.view.must);
  }
  document.body.classList.toggle("plan-only", picture.plan_only);
}

/* A hand has moved the map, and what was added lies outside it: show the whole site again. */
let seen = "";
function follow(must) {
  const { map, plane, moved } = page();
  const isNew = seen && JSON.stringify(must) !== seen;
  seen = JSON.stringify(must);
  if (moved && isNew && !must.every((each) => map.getBounds().contains(plane.toMap(each)))) page().fit();
}

function loadDrawing() {
  return new Promise((resolve, reject) => {
    document.head.append(make("script", { src: "/static/drawing.js", onload: resolve, onerror: reject }));
  });
}

const page = () => window.lateralMap?.page;

/** Point map and profile at a footage in metres. */
export function pointAt(footage) {
  if (!page()) return;
  page().point(page().stationAt(footage), "table");
  if (isNarrow()) byId("plan").scrollIntoView({ block: "start", behavior: pace() });
}

/** True where a picture is seen under the map. */
export const picturesUnder = () => Boolean(page()?.image?.isConnected && page().opacity > 0);

/** True where there is a map to tap on. */
export const canPlace = () => Boolean(page());

/* Placing: taps on the map become places until it is done. */
const placing = { put: null };
let track = null;

/** Let places be tapped; `shape` says how many. Resolves to plane coordinates in metres. */
export function tapPlaces(shape, words) {
  const map = page().map;
  const dots = window.L.layerGroup().addTo(map);
  const places = [];
  const wasMeasuring = page().measuring;
  page().measuring = () => true;
  byId("placing").hidden = false;
  map.getContainer().classList.add("measuring");
  byId("plan").scrollIntoView({ block: "nearest" });
  map.getContainer().focus({ preventScroll: true });
  tell();

  return new Promise((resolve) => {
    placing.put = (place) => {
      if (shape === "Point") places.length = 0;
      places.push(page().plane.toPlane(place));
      if (shape === "Point") return finish(places);
      draw();
      tell();
    };
    const keys = (event) => {
      if (/^f$/i.test(event.key)) finish(places);
      else if (event.key === "Enter") placing.put(map.getCenter());
      else if (event.key === "Backspace") back();
      else if (event.key === "Escape") finish([]);
      else return;
      event.preventDefault();
    };
    const back = () => {
      places.pop();
      draw();
      tell();
    };
    const finish = (result) => {
      placing.put = null;
      page().measuring = wasMeasuring;
      byId("placing").hidden = true;
      map.getContainer().classList.remove("measuring");
      map.getContainer().removeEventListener("keydown", keys);
      dots.remove();
      resolve(result);
    };
    map.getContainer().addEventListener("keydown", keys);
    byId("placing-back").onclick = shape === "Point" ? () => finish([]) : back;
    byId("placing-back").disabled = false;
    byId("placing-done").onclick = () => finish(places);
  });

  function draw() {
    dots.clearLayers();
    const at = places.map((place) => page().plane.toMap(place));
    const style = { pane: "plan-measure", color: "#b0003a", weight: 3, interactive: false };
    if (at.length > 1) dots.addLayer(window.L.polyline(shape === "Polygon" ? [...at, at[0]] : at, style));
    for (const place of at) dots.addLayer(window.L.circleMarker(place, { ...style, radius: 7, fillColor: "#fff", fillOpacity: 1 }));
  }

  function tell() {
    const number = places.length;
    const count = number ? `${number} ${number === 1 ? "place" : "places"}. ` : "";
    byId("placing-words").replaceChildren(`${count}${words}`, make("span", { class: "by-keys", text: ` With the keyboard: arrows move the map, Enter takes its middle${shape === "Point" ? "" : ", Backspace takes one back, F finishes"}, Escape leaves.` }));
    byId("placing-done").hidden = shape === "Point";
    byId("placing-back").textContent = shape === "Point" ? "Leave" : "Take one back";
    if (shape === "Point") return;
    byId("placing-back").disabled = number === 0;
  }
}

/** Show places that are chosen but not saved yet. */
export function showPlaces(shape, places) {
  track?.remove();
  track = null;
  const tapped = places.filter((place) => place.plane).map((place) => place.plane);
  if (!page() || !tapped.length) return;
  const at = tapped.map((place) => page().plane.toMap(place));
  const style = { pane: "plan-measure", color: "#b0003a", weight: 3, dashArray: "4 4", interactive: false };
  track = window.L.layerGroup([
    ...(at.length > 1 ? [window.L.polyline(shape === "Polygon" ? [...at, at[0]] : at, style)] : []),
    ...at.map((place) => window.L.circleMarker(place, { ...style, radius: 6, fillColor: "#fff", fillOpacity: 1 })),
  ]).addTo(page().map);
}

/** Map or profile: on a telephone one at a time. */
export function watchViews() {
  const buttons = { map: byId("show-map"), profile: byId("show-profile") };
  const show = (view) => {
    document.body.dataset.view = view;
    for (const [name, each] of Object.entries(buttons)) each.setAttribute("aria-pressed", String(name === view));
    page()?.map.invalidateSize({ animate: false });
  };
  for (const [name, each] of Object.entries(buttons)) each.addEventListener("click", () => show(name));
  show("map");
}
