/* The Plan panel: points to tape from, boundaries, utilities, buildings, each with its places. */

import { button, byId, forms, make, say } from "./parts.js";
import { makeForm, reveal } from "./forms.js";
import { canPlace, picturesUnder, showPlaces, tapPlaces } from "./picture.js";

const WORDS = { Point: "Tap where it is.", LineString: "Tap along the line, end to end.", Polygon: "Tap round it, corner by corner." };

const DRAFT = "draft plan";
let activeForm = null;

/** Return the panel's parts for a state; `page` saves. */
export function planPanel(state, page) {
  const { plan } = state;
  if (activeForm?.element.isConnected) activeForm.moveOn(state);
  if (!plan.editable) return [["form", plan.words, () => [make("p", { class: "card", text: plan.words })]]];
  return [
    ["form", [page.context(), plan.features], () => formPart(state, page)],
    ["rows", plan, () => [
      make("h3", { text: "On the plan" }),
      plan.features.length ? make("ul", { class: "rows" }, plan.features.map((feature) => featureRow(feature, () => feature.kind && openForm(feature.kind, feature, state, page)))) : make("p", { class: "quiet", text: "Nothing yet." }),
      ...plan.faults.map((words) => make("p", { class: "fault", text: words }))]],
  ];
}

function formPart(state, page) {
  const kinds = make("div", { class: "chips", role: "group", "aria-label": "Add to the plan" });
  for (const [kind, { title }] of Object.entries(forms.plan)) {
    kinds.append(button(title, () => openForm(kind, null, state, page), { class: "chip", "data-kind": kind }));
  }
  const draft = page.kept(DRAFT);
  if (draft) queueMicrotask(() => page.hold("form"));
  return [
    make("p", { class: "quiet", text: say("plan_intro") }),
    kinds,
    make("div", { id: "plan-form" }, draft ? featureForm(draft.kind, draft.feature, state, page, draft) : null),
  ];
}

function openForm(kind, feature, state, page) {
  const holder = byId("plan-form");
  holder.replaceChildren(featureForm(kind, feature, state, page));
  page.hold("form");
  reveal(holder);
  holder.querySelector("input, button")?.focus();
}

function featureRow(feature, onclick) {
  const title = forms.plan[feature.kind]?.title || "Unknown kind";
  const words = feature.faults.map((fault) => make("span", { class: "fault", text: fault.words }));
  return make("li", {}, make("button", { type: "button", class: `row${words.length ? " left-out" : ""}`, onclick, disabled: !feature.kind },
    make("strong", { dir: "auto", text: feature.name || title }), make("span", { class: "quiet", text: feature.name ? title : "" }), ...words));
}

function featureForm(kind, feature, state, page, draft = null) {
  const spec = forms.plan[kind];
  const context = page.context();
  const form = makeForm([{ title: "", key: "", help: "", path: "", optional: false, fields: spec.fields }], context);
  const places = draft?.places || [];
  // A name that nobody typed moves on where another part has it by now; a typed one stays, and is told.
  let proposed = feature ? null : draft ? draft.proposed : freeName(kind, state);
  form.fill(draft?.values || feature?.values || { name: proposed });

  const list = make("ol", { class: "places" });
  const show = () => {
    list.replaceChildren(...places.map((place, index) => make("li", {}, make("span", { text: placeWords(place) }),
      button("Remove", () => { places.splice(index, 1); show(); keepDraft(); }, { class: "plain small", "aria-label": `Remove place ${index + 1}` }))));
    if (!places.length && feature) list.append(make("li", { class: "quiet", text: "Where it is now" }));
    showPlaces(spec.shape, places);
  };
  const add = (...more) => {
    if (spec.shape === "Point") places.length = 0;
    places.push(...more);
    show();
    keepDraft();
    return true;
  };
  /* What is tapped on a picture is as sure as the picture, and says so. */
  const traceWords = make("p", { class: "quiet", role: "status" });
  const traced = () => {
    const { picture } = state.plan;
    if (!picture || !picturesUnder()) return;
    for (const name of ["accuracy", "source"]) {
      const input = form.inputs.get(name);
      if (!input || input.get()) continue;
      input.set(picture[name]);
      traceWords.textContent = say("traced", picture);
    }
    keepDraft();
  };
  const now = () => ({ kind, feature, values: form.values(), places, instead: draft?.instead, proposed });
  const keepDraft = () => page.keep(DRAFT, now());
  form.element.addEventListener("input", ({ target }) => {
    if (target.closest('[data-field="name"]')) proposed = null;
    keepDraft();
  });
  form.moveOn = (now) => {
    if (!proposed || isFree(proposed, now)) return;
    const taken = proposed;
    proposed = freeName(kind, now);
    form.inputs.get("name").set(proposed);
    form.inputs.get("name").note(say("mark_taken", { taken }));
    if (page.kept(DRAFT)) keepDraft();
  };
  form.moveOn(state);
  activeForm = form;

  const close = () => {
    page.keep(DRAFT, null);
    page.release("form");
    showPlaces(spec.shape, []);
  };
  const hand = (body) => {
    proposed = null; // what is saved is meant
    const from = { tab: "plan", draft: DRAFT, kept: now() };
    close();
    page.save("/plan", { ...body, base: feature ? feature.text : null, at: feature ? feature.at : 0, instead: draft?.instead }, from);
    byId("panel").querySelector(".chips button")?.focus({ preventScroll: true });
  };
  const save = (event) => {
    event.preventDefault();
    byId("plan-form").querySelector(".way-form")?.take(); // what was typed there and not added yet
    const body = { kind, properties: form.values() };
    if (places.length || !feature) body.places = places;
    hand(body);
  };
  const takeOut = () => hand({ take_out: true, name: feature.name || spec.title });
  const leave = () => {
    close();
    page.refresh();
  };
  if (draft?.faults?.length) queueMicrotask(() => form.showFaults(draft.faults));
  show();
  return make("form", { class: "entry", onsubmit: save, "aria-label": spec.title },
    make("h3", { text: feature ? `${spec.title}: ${feature.name || "no name"}` : `New: ${spec.title.toLowerCase()}` }),
    spec.words ? make("p", { class: "quiet", text: spec.words }) : null,
    form.element,
    make("fieldset", { class: "group" }, make("legend", { text: spec.shape === "Point" ? "Where it is" : "Where it runs" }), list, placeTools(spec.shape, context, add, traced)),
    traceWords,
    form.told,
    make("div", { class: "doing" },
      make("button", { type: "submit", class: "primary", text: feature ? "Save" : `Add ${spec.title.toLowerCase()}` }),
      button("Cancel", leave, { class: "plain" }),
      feature ? button("Take out of the plan", takeOut, { class: "plain" }) : null));
}

const isFree = (name, state) => !state.plan.features.some((feature) => feature.name === name);

/** A name to start from, one that no part of the plan has yet. */
function freeName(kind, state) {
  const usual = { curb: "curb", right_of_way: "right of way", property_line: "property line", centreline: "centreline", building: "house" }[kind];
  for (let name = usual, number = 2; name; name = `${usual} ${number++}`) if (isFree(name, state)) return name;
  return "";
}

function placeWords(place) {
  if (place.plane) return "Tapped on the map";
  if (place.point) return `At ${place.point}`;
  if (place.tapes) return `${place.tapes[0][1]} from ${place.tapes[0][0]}, ${place.tapes[1][1]} from ${place.tapes[1][0]}, ${place.side} side`;
  return place.lat ? `Latitude ${place.lat}, longitude ${place.lon}` : `x ${place.x}, y ${place.y}`;
}

/* The ways to give a place: tap, coordinates, two tapes, a point of the plan. */
function placeTools(shape, context, add, traced) {
  const holder = make("div", { class: "way" });
  const tap = async () => {
    const places = await tapPlaces(shape, WORDS[shape]);
    if (places.length && add(...places.map((plane) => ({ plane })))) traced();
  };
  const ways = [
    canPlace() ? button("Tap on the map", tap, { class: "chip" }) : null,
    button("x and y", () => holder.replaceChildren(pairForm(["x", "x (east)"], ["y", "y (north)"], context.units.xy, add)), { class: "chip" }),
    context.local ? null : button("Latitude, longitude", () => holder.replaceChildren(pairForm(["lat", "Latitude"], ["lon", "Longitude"], "°", add)), { class: "chip" }),
    context.names.points.length > 1 ? button("Two tapes", () => holder.replaceChildren(tapesForm(context, add)), { class: "chip" }) : null,
    shape !== "Point" && context.names.points.length ? button("At a point", () => holder.replaceChildren(pointForm(context, add)), { class: "chip" }) : null,
  ];
  return make("div", {}, make("div", { class: "chips", role: "group", "aria-label": "Give a place" }, ways), holder);
}

const field = (name, label, kind, unit = "", more = {}) => ({ name, label, kind, unit, help: "", choices: [], default: "", keep: false, free: false, required: false, ...more });
const plain = (fields) => [{ title: "", key: "", help: "", path: "", optional: false, fields }];

function wayForm(form, take) {
  const element = make("div", { class: "way-form" }, form.element, button("Take this place", () => element.take(), { class: "chip strong" }));
  element.take = () => take(form.values()) && form.fill(Object.fromEntries([...form.inputs.keys()].map((name) => [name, ""])));
  return element;
}

function pairForm([one, oneLabel], [other, otherLabel], unit, add) {
  const form = makeForm(plain([field(one, oneLabel, "number", "given"), field(other, otherLabel, "number", "given")]), { units: { given: unit }, names: {} });
  return wayForm(form, (values) => values[one] && values[other] && add({ [one]: values[one], [other]: values[other] }));
}

function tapesForm(context, add) {
  const form = makeForm(plain([
    field("from1", "From", "point"), field("tape1", "Distance", "length", "length"),
    field("from2", "and from", "point"), field("tape2", "Distance", "length", "length"),
    field("side", "On which side, going from the first point to the second", "choice", "", { choices: ["left", "right"] }),
  ]), context);
  return wayForm(form, ({ from1, tape1, from2, tape2, side }) => from1 && from2 && tape1 && tape2 && side && add({ tapes: [[from1, tape1], [from2, tape2]], side }));
}

function pointForm(context, add) {
  const form = makeForm(plain([field("point", "Point", "point")]), context);
  return wayForm(form, ({ point }) => point && add({ point }));
}
