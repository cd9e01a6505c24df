/* The page: what is entered goes to the site folder at once, and the line is drawn anew. */

import { Refused, Unreached, ask, askFile, askProfile, askState, button, byId, clock, firstState, forms, isNarrow, isShared, keep, kept, make, newOp, offers, send } from "./parts.js";
import { makeForm, reveal } from "./forms.js";
import { planPanel } from "./plan.js";
import { pointAt, showPicture, showPlaces, showProfile, watchViews } from "./picture.js";

const TABS = [["locates.csv", "Locates"], ["bends.csv", "Bends"], ["findings.csv", "Findings"], ["plan", "Plan"], ["site", "Site"], ["more", "More"]];
const ONE = { "locates.csv": "locate", "bends.csv": "bend", "findings.csv": "finding" };
const SIGNS = { good: "✓", suspect: "!", "put off": "~", unchecked: "○", "set aside": "–", "left out": "!" };
const LOOK_EVERY_MS = 3000;

let state = firstState;
let tab = kept("tab") || "locates.csv";
let editing = null; // the text of the row being edited, null for a new one
let busy = 0;
let taken = 0;

// ── saving ───────────────────────────────────────────────────────────────────────────────────────

/** Save a change. True once it is in the site, or kept to be sent when the server is reached.
 * One at a time: the second tap of a double tap is no second change. */
async function save(path, body, { draft = null, faults = null, after = null } = {}) {
  if (byId("desk").inert) return false;
  const op = newOp();
  const change = { path, body: { ...body, op } };
  performance.mark(`save ${op}`);
  tell("Saving …", "busy");
  try {
    await whileClosed(() => deliver(change, op));
  } catch (error) {
    if (error instanceof Unreached) {
      keepForLater(change);
    } else if (isStale(error)) {
      keepForLater(change);
      freshen();
    } else if (error instanceof Refused && error.answer.conflict) {
      tell("Needs an answer", "wrong");
      askAbout(error.answer, change, { draft });
      return false;
    } else if (error instanceof Refused) {
      tell("Not saved", "wrong");
      if (error.answer.faults && faults) faults(error.answer.faults);
      else alertOnce(error.message);
      return false;
    } else throw error;
  }
  if (draft) keep(`draft ${draft}`, null);
  if (after) after();
  else renderPanel();
  return true;
}

/** Do something while the forms take nothing: the panel is made anew after it, and what was typed meanwhile would be lost. */
async function whileClosed(act) {
  const held = document.activeElement;
  byId("desk").inert = true;
  try {
    await act();
  } finally {
    byId("desk").inert = false;
    if (byId("desk").contains(held)) held.focus({ preventScroll: true });
  }
}

async function deliver(change, op) {
  busy += 1;
  try {
    const answer = await send(change.path, change.body);
    await take(answer);
    tell(`Saved ${clock(new Date())}`, "good");
    afterDrawing(() => performance.measure("save to redraw", { start: `save ${op}`, end: performance.now() }));
  } finally {
    busy -= 1;
  }
}

/* Two frames on, what was drawn is on the screen. */
const afterDrawing = (act) => requestAnimationFrame(() => requestAnimationFrame(act));

function keepForLater(change) {
  const waiting = kept("waiting") || [];
  keep("waiting", [...waiting, change]);
  tellWaiting();
}

function tellWaiting() {
  const count = (kept("waiting") || []).length;
  if (count) tell(`Not reached: ${count} kept on this device`, "wrong");
}

/* The server was begun anew since this page was loaded: the page's key is not its any more. */
const isStale = (error) => error instanceof Refused && [401, 403].includes(error.status);

/** Load the page again, at most every half minute; what is kept on this device is sent then. */
function freshen() {
  const now = Date.now();
  if (now - (kept("freshened") || 0) < 30000) return tell("Join this page again; what you typed is kept", "wrong");
  keep("freshened", now);
  return location.reload();
}

/** Send what was kept while the server was out of reach, oldest first. */
async function sendWaiting() {
  while ((kept("waiting") || []).length) {
    const [change, ...rest] = kept("waiting");
    try {
      performance.mark(`save ${change.body.op}`);
      await deliver(change, change.body.op);
    } catch (error) {
      if (error instanceof Unreached) return tellWaiting();
      if (isStale(error)) return freshen();
      if (error instanceof Refused && error.status >= 500) return tell(error.message, "wrong");
      if (!(error instanceof Refused)) throw error;
      if (error.answer.conflict) askAbout(error.answer, change, {});
      else alertOnce(`Kept on this device and not taken: ${describeChange(change)}. ${error.message}`);
    }
    keep("waiting", rest);
    renderPanel();
  }
}

function describeChange({ body }) {
  const values = body.edits?.[0]?.values || body.properties || {};
  return Object.entries(values).filter(([, value]) => value).map(([name, value]) => `${name} ${value}`).join(", ") || "a change";
}

function tell(words, tone) {
  byId("saving").textContent = words;
  byId("saving").dataset.tone = tone;
}

// ── what both sides changed, and what other programs did ─────────────────────────────────────────

function askAbout(answer, change, { draft }) {
  const edit = change.body.edits?.[0];
  const yours = edit?.values || {};
  const theirs = answer.theirs;
  const names = theirs ? Object.keys(yours).filter((name) => (theirs[name] ?? "") !== (yours[name] ?? "")) : [];
  const dialog = byId("ask");
  const close = () => dialog.close();
  const again = (more) => () => {
    close();
    save(change.path, { ...change.body, edits: [{ ...edit, ...more }] }, { draft, after: () => leaveEditing() });
  };
  const cells = (name) => [make("th", { scope: "row", text: name }), make("td", { dir: "auto", text: theirs[name] || "–" }), make("td", { dir: "auto", text: yours[name] || "–" })];
  dialog.replaceChildren(
    make("h2", { id: "ask-title", text: "Changed in two places" }),
    make("p", { text: `${answer.words[0].toUpperCase()}${answer.words.slice(1)}. Nothing is lost: choose what stands.` }),
    names.length ? make("table", {}, make("thead", {}, make("tr", {}, make("td"), make("th", { scope: "col", text: "There now" }), make("th", { scope: "col", text: "Yours" }))), make("tbody", {}, names.map((name) => make("tr", {}, cells(name))))) : null,
    make("div", { class: "doing" },
      answer.row ? button("Save mine over it", again({ base: answer.row, at: answer.at }), { class: "primary" }) : null,
      edit?.values?.footage !== undefined ? button("Save mine as a new row", again({ base: null }), { class: "plain" }) : null,
      button("Keep what is there", () => { close(); if (draft) keep(`draft ${draft}`, null); leaveEditing(); reload(); }, { class: "plain" }),
      button("Back to the form", close, { class: "plain" })));
  dialog.showModal();
}

function alertOnce(words) {
  const box = make("div", { class: "alert", role: "alert" }, make("p", { dir: "auto", text: words }), button("Close", () => box.remove(), { class: "plain" }));
  byId("alerts").append(box);
}

function renderOutside() {
  for (const old of byId("alerts").querySelectorAll("[data-outside]")) old.remove();
  for (const { key, words, time, lost } of state.outside) {
    const answer = (putBack) => save("/outside", { key, put_back: putBack });
    byId("alerts").append(make("div", { class: "alert", "data-outside": key },
      make("p", { text: `${words} at ${clock(time)}. What was entered here and is so no longer:` }),
      make("ul", {}, lost.map(({ what, ours, theirs }) => make("li", { dir: "auto" }, make("strong", { text: what }), ` here: ${ours}; now: ${theirs ?? "gone"}`))),
      make("div", { class: "doing" }, button("Put mine back", () => answer(true), { class: "primary" }), button("Leave it as saved there", () => answer(false), { class: "plain" }))));
  }
}

// ── the state ────────────────────────────────────────────────────────────────────────────────────

async function take(next) {
  state = next;
  taken += 1;
  const profile = state.picture && !state.picture.plan_only ? askProfile() : Promise.resolve({});
  profile.catch(() => {}); // looked at below
  await showPicture(state.picture);
  renderHead();
  renderSays();
  renderOutside();
  try {
    showProfile(await profile);
  } catch (error) {
    if (!(error instanceof Unreached)) throw error;
  }
}

function renderHead() {
  byId("site-name").textContent = state.site.name || state.site.folder;
  document.title = `${state.site.name || state.site.folder} – entering`;
  const last = state.history.find((entry) => !entry.undone);
  const undo = byId("undo-last");
  undo.disabled = !last;
  undo.textContent = "Undo";
  undo.title = last ? `Undo: ${last.words}` : "";
  undo.setAttribute("aria-label", last ? `Undo: ${last.words}` : "Undo");
  undo.onclick = () => last && save("/undo", { target: last.op }, { after: () => leaveEditing() });
}

function renderSays() {
  const says = [...missing(), ...state.says, ...state.faults.map((words) => ({ tone: "stop", title: "Wrong", words }))];
  const urgent = says.filter(({ tone }) => tone === "stop" || tone === "watch").length;
  byId("says-count").textContent = urgent ? `${urgent} to look at` : "";
  byId("says-list").replaceChildren(...says.map((saying) => {
    const show = saying.footage_m === null || saying.footage_m === undefined ? null : button("Show", () => pointAt(saying.footage_m), { class: "plain small", "aria-label": `Show: ${saying.title}` });
    const row = saying.mark && state.tables["locates.csv"].rows.find(({ values }) => values.mark === saying.mark);
    const edit = row ? button("Open its row", () => openRow("locates.csv", row), { class: "plain small", "aria-label": `Open the row of ${saying.mark}` }) : null;
    return make("li", { class: saying.tone }, make("h3", { dir: "auto", text: saying.title }), make("p", { dir: "auto", text: saying.words }), make("div", { class: "doing" }, show, edit, takeButton(saying)));
  }));
}

/** Take a diagnosis for true, or take back what was taken so: entries of site.toml, undone as any other change. */
function takeButton({ entries, applied, title, words }) {
  const texts = state.settings.lists?.applied || {};
  if (applied !== null && applied !== undefined) {
    const path = `applied.${applied}`;
    return button("Take it back", () => save("/settings", { edits: [{ path, value: null, seen: texts[path] }] }), { class: "plain small", "aria-label": `Take it back: ${words}` });
  }
  if (!entries?.length) return null;
  const first = Object.keys(texts).length;
  const edits = entries.map((value, index) => ({ path: `applied.${first + index}`, value, seen: null }));
  return button("Take it so", () => save("/settings", { edits }), { class: "plain small", "aria-label": `Take it so: ${words || title}` });
}

/** What is still missing, in words. */
function missing() {
  const values = state.settings.values;
  const words = [];
  if (state.site.is_new) words.push(["Begin the site", "Fill in Site and save: the folder is made then."]);
  else if (!values["start.point"] && !values["start.x"] && !values["start.lat"]) words.push(["Where does the footage start?", "Under Site, give the start a point, x and y, or latitude and longitude."]);
  else if (!state.tables["locates.csv"].rows.length) words.push(["No locate yet", "The line is dead reckoned from its start until something is located."]);
  if (!values["run.end_footage"] && !state.site.is_new && !state.tables["locates.csv"].rows.length && !state.tables["findings.csv"].rows.length) words.push(["How far did the camera go?", "Give the footage at the end under Site, or enter a reading."]);
  for (const fault of state.settings.faults) words.push([`site.toml, ${fault.field}`, fault.words]);
  if (state.settings.unreadable) words.push(["site.toml cannot be read", state.settings.unreadable]);
  return words.map(([title, text]) => ({ tone: "watch", title, words: text }));
}

async function reload() {
  try {
    await take(await askState());
    renderPanel();
  } catch (error) {
    if (!(error instanceof Unreached)) throw error;
  }
}

/** Notice what another tab, a spreadsheet or an editor wrote. */
async function look() {
  if (document.hidden || busy) return;
  if ((kept("waiting") || []).length) return void (await sendWaiting());
  try {
    const before = taken;
    const versions = await ask("/versions");
    // An answer from before a save of our own tells nothing new.
    if (busy || taken !== before || JSON.stringify(versions) === JSON.stringify(state.versions)) return;
    await take(await askState());
    tell("Changed elsewhere and taken in", "good");
    if (!formHasFocus()) renderPanel();
  } catch (error) {
    if (error instanceof Unreached) tell("The page's server is not reached; what you type is kept", "wrong");
    else if (isStale(error)) freshen();
    else throw error;
  }
}

const formHasFocus = () => byId("panel").contains(document.activeElement) && document.activeElement.closest("form") !== null;

// ── panels ───────────────────────────────────────────────────────────────────────────────────────

const context = () => ({
  units: { ...state.site.units, "": "" },
  names: state.plan.names,
  local: state.site.local,
  hidden: state.site.local ? ["lat", "lon"] : [],
});

const page = {
  save: (path, body, options) => save(path, body, options),
  context,
  refresh: () => renderPanel(),
  draft: (name) => kept(`draft ${name}`),
  keepDraft: (name, value) => keep(`draft ${name}`, value),
};

function renderTabs() {
  byId("tabs").replaceChildren(...TABS.map(([key, title]) => {
    const rows = state.tables[key]?.rows.length;
    return make("button", { type: "button", class: "tab", "aria-current": key === tab ? "page" : null, "data-tab": key, onclick: () => openTab(key) },
      make("span", { text: title }), rows ? make("span", { class: "count", text: String(rows) }) : null);
  }));
}

function openTab(key) {
  tab = key;
  editing = null;
  keep("tab", key);
  renderPanel();
  byId("panel").querySelector("h2").focus();
}

function renderPanel() {
  renderTabs();
  if (tab !== "plan") showPlaces("Point", []);
  const title = TABS.find(([key]) => key === tab)[1];
  const head = make("h2", { id: "panel-title", tabindex: "-1", text: title });
  byId("panel").replaceChildren(head, ...panels[tab]().filter(Boolean));
}

const panels = {
  "locates.csv": () => tablePanel("locates.csv"),
  "bends.csv": () => tablePanel("bends.csv"),
  "findings.csv": () => tablePanel("findings.csv"),
  plan: () => planPanel(state, page),
  site: () => sitePanel(),
  more: () => morePanel(),
};

// ── rows of a table ──────────────────────────────────────────────────────────────────────────────

function tablePanel(file) {
  const table = state.tables[file];
  if (table.unreadable) return [make("p", { class: "card fault", text: table.unreadable })];
  const row = editing === null ? null : table.rows.find(({ text }) => text === editing);
  const rows = [...table.rows].reverse().map((each) => rowButton(file, each));
  return [
    rowForm(file, row || null),
    ...table.faults.map((words) => make("p", { class: "fault", text: words })),
    make("h3", { text: rows.length ? "Entered, the last one first" : "Nothing entered yet" }),
    make("ul", { class: "rows" }, rows),
  ];
}

function rowButton(file, row) {
  const { values, verdict } = row;
  const unit = state.site.units.length;
  const shown = (text) => (/^-?[\d.]+$/.test(text) ? `${text} ${unit}` : text);
  const name = values.mark || values.finding || (values.turn ? `${Math.abs(Number(values.turn)) || values.turn}° ${values.turn.startsWith("-") ? "left" : "right"}` : "Row");
  const bits = [values.footage && `at ${shown(values.footage)}`, values.to && `to ${shown(values.to)}`, values.depth && `${shown(values.depth)} deep`, ties(values), values.severity];
  const faults = row.faults.map(({ field, words }) => make("span", { class: "fault", text: `${field ? `${field}: ` : ""}${words}` }));
  return make("li", {}, make("button", { type: "button", class: `row ${verdict.replace(" ", "-")}`, "aria-current": row.text === editing ? "true" : null, onclick: () => openRow(file, row) },
    make("strong", { dir: "auto", text: name }),
    make("span", { class: "bits", dir: "auto", text: bits.filter(Boolean).join(", ") }),
    verdict ? make("span", { class: "verdict" }, make("span", { "aria-hidden": "true", class: "sign", text: SIGNS[verdict] }), verdict) : null,
    ...faults));
}

function ties(values) {
  const tapes = [1, 2, 3].filter((n) => values[`tape${n}`]).length;
  const kinds = [tapes && `${tapes} ${tapes === 1 ? "tape" : "tapes"}`, values.lat && "GNSS", values.x && "x, y", (values.along || values.offset || values.past) && values.line];
  return kinds.filter(Boolean).join(" + ");
}

function openRow(file, row) {
  tab = file;
  editing = row.text;
  keep("tab", file);
  renderPanel();
  reveal(byId("panel"));
  byId("panel").querySelector("form input")?.focus({ preventScroll: isNarrow() });
  const mark = state.says.find((saying) => saying.mark && saying.mark === row.values.mark);
  if (mark?.footage_m !== undefined && mark?.footage_m !== null) pointAt(mark.footage_m);
}

function leaveEditing() {
  editing = null;
  renderPanel();
}

function rowForm(file, row) {
  const extras = file === "locates.csv" ? { position: positionTools } : {};
  const form = makeForm(forms[file], { ...context(), extras });
  const draftName = row ? `${file} ${row.text}` : file;
  const draft = kept(`draft ${draftName}`);
  const told = make("p", { class: "fault", role: "alert", hidden: true });
  const starting = row ? row.values : defaults(file);
  form.fill({ ...starting, ...draft });
  if (!row) openLikeLast(file, form);
  const keepDraft = () => keep(`draft ${draftName}`, form.values());
  form.element.addEventListener("input", keepDraft);

  const submit = async (event) => {
    event.preventDefault();
    const values = row ? form.values() : withoutIdle(form.values(), starting);
    if (!worthSaving(file, values)) {
      form.showFaults([{ field: "footage", words: "a footage is needed" }]);
      return;
    }
    const count = state.tables[file].rows.length;
    const base = row ? row.text : null;
    const changed = row ? Object.fromEntries(Object.entries(values).filter(([name, value]) => value !== (row.values[name] ?? ""))) : values;
    if (row && !Object.keys(changed).length) return leaveEditing();
    await save("/rows", { file, edits: [{ values: changed, base, at: row ? row.at : 0 }] }, { draft: draftName, after: () => afterRow(file, row, count) });
  };
  const setAside = (use) => save("/rows", { file, edits: [{ values: { use }, base: row.text, at: row.at }] }, { draft: draftName, after: () => leaveEditing() });
  const isAside = row?.verdict === "set aside";
  const element = make("form", { class: "entry", onsubmit: submit, "aria-label": `${row ? "Change a" : "New"} ${ONE[file]}` },
    make("h3", { text: row ? `Change ${ONE[file]} ${row.values.mark || ""}`.trim() : `New ${ONE[file]}` }),
    form.element,
    told,
    make("div", { class: "doing" },
      make("button", { type: "submit", class: "primary", text: row ? "Save the change" : `Save ${ONE[file]}` }),
      row ? button(isAside ? "Use it again" : "Set aside", () => setAside(isAside ? "yes" : "no"), { class: "plain" }) : null,
      row ? button("Cancel", () => { keep(`draft ${draftName}`, null); leaveEditing(); }, { class: "plain" }) : null));
  if (row?.faults.length) {
    queueMicrotask(() => {
      const rest = form.showFaults(row.faults);
      told.textContent = rest.join(" ");
      told.hidden = !rest.length;
    });
  }
  activeForm = form;
  return element;
}

let activeForm = null;

function worthSaving(file, values) {
  return Boolean(values.footage || (file === "locates.csv" && values.depth));
}

/** Leave out a point or line the last row left behind where nothing was measured from it. */
function withoutIdle(values, starting) {
  const partners = { tape1_from: ["tape1"], tape2_from: ["tape2"], tape3_from: ["tape3"], line: ["along", "offset", "past"] };
  const idle = Object.keys(partners).filter((name) => values[name] && values[name] === starting[name] && partners[name].every((other) => !values[other]));
  return { ...values, ...Object.fromEntries(idle.map((name) => [name, ""])) };
}

/** After a save: on to the next row, or back to this one where something in it is wrong. */
function afterRow(file, row, count) {
  const rows = state.tables[file].rows;
  const saved = row ? rows.find(({ at }) => at === row.at) : rows.length > count ? rows[rows.length - 1] : null;
  editing = saved?.faults.length ? saved.text : null;
  renderPanel();
  if (!editing) byId("panel").querySelector(file === "locates.csv" ? '[data-field="footage"] input' : "form input")?.focus({ preventScroll: true });
  if (saved?.faults.length) tell("Saved, but left out of the line until it is right", "wrong");
}

/** What a new row starts with: the last row's points, line and habits, and the next mark. */
function defaults(file) {
  const rows = state.tables[file].rows;
  const last = rows.length ? rows[rows.length - 1].values : {};
  const values = {};
  for (const field of forms[file].flatMap((group) => group.fields)) {
    if (field.keep && last[field.name]) values[field.name] = last[field.name];
    else if (field.default) values[field.name] = field.default;
  }
  if (file === "locates.csv") values.mark = nextMark(rows.map((row) => row.values.mark || ""));
  return values;
}

function nextMark(marks) {
  const last = marks[marks.length - 1];
  if (!last) return marks.length ? "" : "A";
  const number = last.match(/^(.*?)(\d+)$/);
  const letter = last.match(/^(.*?)([A-Ya-y])$/);
  const next = number ? `${number[1]}${Number(number[2]) + 1}` : letter ? `${letter[1]}${String.fromCharCode(letter[2].charCodeAt(0) + 1)}` : /^z$/i.test(last) ? `${last}1` : "";
  return marks.includes(next) ? "" : next;
}

/** Open the groups that the last row used: the next locate is usually tied the same way. */
function openLikeLast(file, form) {
  if (file !== "locates.csv") return;
  const rows = state.tables[file].rows;
  const last = rows.length ? rows[rows.length - 1].values : null;
  for (const [key, { holder, fields }] of form.holders) {
    if (!holder.turn || key === "more") continue;
    const used = last ? fields.some((name) => last[name]) : key === "tapes" && state.plan.names.points.length > 0;
    if (used) holder.turn(true);
  }
}

// ── positions ────────────────────────────────────────────────────────────────────────────────────

/* Under Position: the device's own fix, where the browser gives one. */
function positionTools() {
  if (state.site.local) return make("p", { class: "quiet", text: "A sketch is tied to no place on earth, so GNSS cannot be used on it." });
  const told = make("p", { class: "quiet", role: "status" });
  if (!navigator.geolocation || !window.isSecureContext) {
    told.textContent = "This browser gives no position here; start the page with --share to use a phone's.";
    return told;
  }
  let watch = null;
  let fix = null;
  const use = button("Use this position", () => takeFix(), { class: "chip strong", hidden: true });
  const watchButton = button("This device's position", () => (watch === null ? begin() : end()), { class: "chip", "aria-pressed": "false" });
  const begin = () => {
    told.textContent = "Waiting for a position …";
    watchButton.setAttribute("aria-pressed", "true");
    watch = navigator.geolocation.watchPosition(show, refuse, { enableHighAccuracy: true, maximumAge: 0, timeout: 30000 });
  };
  const end = () => {
    navigator.geolocation.clearWatch(watch);
    watch = null;
    watchButton.setAttribute("aria-pressed", "false");
    use.hidden = true;
  };
  const show = ({ coords }) => {
    fix = coords;
    use.hidden = false;
    told.textContent = `Within ${coords.accuracy.toFixed(1)} m, the device says. Stand still at the mark; it usually gets better.`;
  };
  const refuse = (error) => {
    told.textContent = error.code === 1 ? "The browser was not allowed to tell its position." : "The device finds no position; try under open sky.";
    end();
  };
  const takeFix = async () => {
    const { latitude, longitude, accuracy } = fix;
    const values = await ask(`/fix?lat=${latitude}&lon=${longitude}&radius=${accuracy}`);
    for (const name of ["lat", "lon", "accuracy"]) activeForm.inputs.get(name)?.set(values[name]);
    activeForm.element.dispatchEvent(new Event("input", { bubbles: true }));
    told.textContent = `Taken: accuracy ${values.accuracy} (1 sd, each axis). The device's ${accuracy.toFixed(1)} m is read as the circle that holds 68 % of its fixes, divided by 1.51.`;
    end();
  };
  return make("div", {}, make("div", { class: "chips" }, watchButton, use), told);
}

// ── settings ─────────────────────────────────────────────────────────────────────────────────────

function sitePanel() {
  const values = state.settings.values;
  if (state.settings.unreadable) return [make("p", { class: "card fault", text: state.settings.unreadable })];
  const isNew = state.site.is_new;
  const form = makeForm(forms.site, { ...context(), hidden: state.site.local ? ["lat", "lon"] : [] });
  const draft = kept("draft site");
  const usual = isNew ? { "site.name": state.site.folder, "site.date": today(), "site.unit": "ft", "site.crs": "local", "start.x": "0", "start.y": "0" } : {};
  form.fill({ ...values, ...usual, ...draft }, { openFilled: false });
  form.element.addEventListener("input", () => keep("draft site", form.values()));
  const told = make("p", { class: "fault", role: "alert", hidden: true });
  const submit = async (event) => {
    event.preventDefault();
    const edits = Object.entries(form.values())
      .filter(([path, value]) => value !== (values[path] ?? ""))
      .map(([path, value]) => ({ path, value: value || null, seen: values[path] ?? null }));
    if (edits.length) await save("/settings", { edits }, { draft: "site" });
  };
  const lists = isNew ? [] : [listPanel("pipe", "Pipe", "from"), listPanel("boundary", "Boundaries", "line")];
  queueMicrotask(() => {
    const rest = form.showFaults(state.settings.faults.filter(({ field }) => form.inputs.has(field)));
    told.textContent = rest.join(" ");
  });
  return [
    make("form", { class: "entry", onsubmit: submit, "aria-label": "Site settings" },
      isNew ? make("p", { class: "quiet", text: "A new site. A sketch starts at its own zero; everything can be changed later." }) : null,
      form.element, told,
      make("div", { class: "doing sticky" }, make("button", { type: "submit", class: "primary", text: isNew ? "Begin this site" : "Save settings" }))),
    ...lists,
  ];
}

function today() {
  const now = new Date();
  return new Date(now.getTime() - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
}

/* Pipe runs and boundaries: lists of small tables in site.toml. */
function listPanel(name, title, key) {
  const values = state.settings.values;
  const texts = state.settings.lists[name] || {};
  const entries = Object.keys(texts);
  const fields = forms[name].flatMap((group) => group.fields);
  const of = (path) => Object.fromEntries(fields.map((field) => [field.name, values[`${path}.${field.name}`] ?? ""]));
  const holder = make("div", {});
  const open = (path) => holder.replaceChildren(entryForm(path));
  const entryForm = (path) => {
    const isNew = !entries.includes(path);
    const seen = isNew ? {} : of(path);
    const form = makeForm(forms[name], context());
    form.fill(isNew && name === "pipe" && !entries.length ? { from: "0" } : seen);
    const submit = (event) => {
      event.preventDefault();
      const given = form.values();
      const edits = fields.map((field) => field.name).filter((field) => given[field] !== (seen[field] || "")).map((field) => ({ path: `${path}.${field}`, value: given[field] || null, seen: seen[field] || null }));
      return edits.length && save("/settings", { edits });
    };
    const takeOut = () => save("/settings", { edits: [{ path, value: null, seen: texts[path] }] });
    const faults = state.settings.faults.filter(({ field }) => field.startsWith(`${path}.`)).map(({ field, words }) => ({ field: field.slice(path.length + 1), words }));
    queueMicrotask(() => form.showFaults(faults));
    return make("form", { class: "entry", onsubmit: submit, "aria-label": title }, form.element,
      make("div", { class: "doing" }, make("button", { type: "submit", class: "primary", text: isNew ? "Add" : "Save" }), button("Cancel", () => holder.replaceChildren(), { class: "plain" }), isNew ? null : button("Take out", takeOut, { class: "plain" })));
  };
  const row = (path) => {
    const words = fields.map((field) => field.kind === "flag" ? (values[`${path}.${field.name}`] === "yes" ? "decides" : "") : values[`${path}.${field.name}`]).filter(Boolean).join(", ");
    const faults = state.settings.faults.filter(({ field }) => field === path || field.startsWith(`${path}.`));
    return make("li", {}, make("button", { type: "button", class: `row${faults.length ? " left-out" : ""}`, onclick: () => open(path) }, make("strong", { dir: "auto", text: values[`${path}.${key}`] || values[`${path}.at`] || "–" }), make("span", { class: "bits", dir: "auto", text: words }), ...faults.map((fault) => make("span", { class: "fault", text: fault.words }))));
  };
  return make("section", { class: "list", "data-list": name },
    make("h3", { text: title }),
    make("ul", { class: "rows" }, entries.map(row)),
    button(name === "pipe" ? "Add a pipe run" : "Add a boundary", () => open(`${name}.${entries.length}`), { class: "chip" }),
    holder);
}

// ── more ─────────────────────────────────────────────────────────────────────────────────────────

function morePanel() {
  return [
    make("h3", { text: "Take away" }),
    make("p", { class: "quiet", text: "Made from what is entered now, and given to this browser to keep." }),
    make("ul", { class: "rows" }, offers.map(offerRow)),
    make("h3", { text: "GNSS file" }),
    gnssPanel(),
    isShared ? make("h3", { text: "Another device" }) : null,
    isShared ? devicePanel() : null,
    make("h3", { text: "History" }),
    make("ol", { class: "history" }, state.history.map(historyRow)),
    state.history.length ? null : make("p", { class: "quiet", text: "Nothing changed from this page yet." }),
  ];
}

function offerRow({ name, summary }) {
  // "map.html, the linked map": what comes before the first comma names the file.
  const [file, words] = summary.split(/, (.*)/s);
  return make("li", {}, make("button", { type: "button", class: "row offer", onclick: () => takeAway(name, file) }, make("strong", { text: file }), make("span", { class: "bits", text: words || "" })));
}

/** Have one product made, and hand it over as a file. */
async function takeAway(name, title) {
  tell(`Making ${title} …`, "busy");
  try {
    const { file, content } = await askFile(`/export/${name}`);
    const link = make("a", { href: URL.createObjectURL(content), download: file });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    tell(`${file} is made`, "good");
  } catch (error) {
    tell("Not made", "wrong");
    if (error instanceof Refused) alertOnce(error.message);
    else if (error instanceof Unreached) alertOnce("The page's server is not reached.");
    else throw error;
  }
}

function historyRow({ op, words, time, undone }) {
  return make("li", { class: undone ? "undone" : null },
    make("span", { dir: "auto", text: words }), make("time", { datetime: time, class: "quiet", text: clock(time) }),
    button(undone ? "Do again" : "Undo", () => save("/undo", { target: op }), { class: "plain small", "aria-label": `${undone ? "Do again" : "Undo"}: ${words}` }));
}

function devicePanel() {
  const holder = make("div", {});
  const open = async () => {
    const { address, code } = await send("/link", {});
    holder.replaceChildren(make("img", { src: code, alt: "A code to scan: it holds the link below", class: "code" }), make("p", { class: "address", text: address }), make("p", { class: "quiet", text: "It lets one device in, once. The browser there warns that it does not know this page's certificate." }));
  };
  return make("div", {}, button("Make a link", open, { class: "chip" }), holder);
}

const MEANINGS = [["sd", "1 sd, each axis"], ["68", "circle that holds 68 %"], ["95", "circle that holds 95 %"], ["50", "circle that holds 50 %"]];

/* Points of a GNSS file matched to marks; each match is looked at before it is saved. */
function gnssPanel() {
  if (state.site.local) return make("p", { class: "quiet", text: "A sketch is tied to no place on earth, so GNSS cannot be used on it." });
  const holder = make("div", {});
  const file = make("input", { type: "file", id: "gnss-file", accept: ".gpx,.kml,.geojson,.json,.csv" });
  const meaning = make("select", { id: "gnss-meaning" }, MEANINGS.map(([value, text]) => make("option", { value, text })));
  const unit = make("select", { id: "gnss-unit" }, ["m", "ft"].map((value) => make("option", { value, text: value })));
  const read = async () => {
    if (!file.files.length) return;
    try {
      const query = `name=${encodeURIComponent(file.files[0].name)}&meaning=${meaning.value}&unit=${unit.value}`;
      const { points } = await send(`/points?${query}`, file.files[0]);
      holder.replaceChildren(matchForm(points));
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      holder.replaceChildren(make("p", { class: "fault", role: "alert", text: error.message }));
    }
  };
  file.addEventListener("change", read);
  meaning.addEventListener("change", read);
  unit.addEventListener("change", read);
  return make("div", { class: "gnss" },
    make("label", { for: "gnss-file", text: "GPX, KML, GeoJSON or CSV of points" }), file,
    make("label", { for: "gnss-meaning", text: "Its accuracy, if it states one, is" }), meaning,
    make("label", { for: "gnss-unit", text: "and a CSV states it in" }), unit, holder);
}

function matchForm(points) {
  const rows = state.tables["locates.csv"].rows;
  const picks = points.map((point, index) => {
    const select = make("select", { id: `match-${index}` }, make("option", { value: "", text: "leave out" }), rows.map(({ at, values }) => make("option", { value: String(at), text: `${values.mark || `row ${at}`} at ${values.footage || "?"}` })));
    const match = rows.find(({ values }) => point.mark && values.mark === point.mark);
    select.value = match ? String(match.at) : "";
    return { point, select };
  });
  const submit = (event) => {
    event.preventDefault();
    const edits = picks.filter(({ select }) => select.value).map(({ point, select }) => {
      const row = rows.find(({ at }) => at === Number(select.value));
      return { values: point.values, base: row.text, at: row.at };
    });
    if (edits.length) save("/rows", { file: "locates.csv", edits });
  };
  return make("form", { class: "entry", onsubmit: submit, "aria-label": "Match points to marks" },
    make("ul", { class: "rows" }, picks.map(({ point, select }) => make("li", { class: "match" }, make("label", { for: select.id, dir: "auto", text: point.name || "no name" }), select, make("span", { class: "quiet", text: point.values.accuracy ? `accuracy ${point.values.accuracy}` : "no accuracy stated: the usual 4 ft" })))),
    make("div", { class: "doing" }, make("button", { type: "submit", class: "primary", text: "Take these positions" })));
}

// ── begin ────────────────────────────────────────────────────────────────────────────────────────

async function begin() {
  watchViews();
  if (isNarrow()) byId("says").open = false;
  if (state.site.is_new) tab = "site";
  renderTabs();
  renderPanel();
  renderHead();
  await take(await askState());
  document.body.dataset.ready = "yes";
  sendWaiting();
  setInterval(look, LOOK_EVERY_MS);
  document.addEventListener("visibilitychange", look);
}

begin();
