/* The page: what is entered goes to the site folder at once, and the line is drawn anew. */

import { Refused, Unreached, ask, askFile, askProfile, askState, button, byId, clock, earlierAddresses, firstState, forms, isNarrow, isShared, isStale, keep, keepsNothing, kept, keptNames, make, newOp, offers, othersWaiting, pageKey, profilePath, reach, say, send, shelve, siteId, waitingAtOtherPorts } from "./parts.js";
import { isUnderWay, outbox, outboxText, put, sendAgain, sendAll, takeIn, takeOut, watchOutbox } from "./outbox.js";
import { FACES, makeForm, reveal } from "./forms.js";
import { planPanel } from "./plan.js";
import { pointInPicture } from "./pointing.js";
import { pointAt, showPicture, showPlaces, showProfile, watchViews } from "./picture.js";

const TABS = [["locates.csv", "Locates"], ["bends.csv", "Bends"], ["findings.csv", "Findings"], ["sketch.csv", "Sketch"], ["plan", "Plan"], ["site", "Site"], ["more", "More"]];
const ONE = { "locates.csv": "locate", "bends.csv": "bend", "findings.csv": "finding", "sketch.csv": "row of the sketch" };
const SIGNS = { good: "✓", suspect: "!", "put off": "~", unchecked: "○", "set aside": "–", "left out": "!" };
const LOOK_EVERY_MS = 3000;

let state = firstState;
let tab = kept("tab") || "locates.csv";
let editing = null; // the row being changed, as it was seen: { text, at, values }; null for a new one
let result = null; // what became of the last row saved: {text, tone}, and its name while it waits
let busy = 0;
let taken = 0;

// ── saving ───────────────────────────────────────────────────────────────────────────────────────

/* The second tap of a double tap is no second change, nor one on what came up under the finger.
 * What was typed in between, and whatever is done by keyboard, is meant. */
const TWICE_MS = 450;
const NO_TAP = { x: -1e6, y: -1e6, time: -TWICE_MS };
let tapBefore = NO_TAP;
let lastTap = NO_TAP;
let lastSave = NO_TAP; // the tap that saved last
const isNear = (one, other, within) => Math.hypot(one.x - other.x, one.y - other.y) < within;
const isTwice = (tap, within) => tap.time >= 0 && tap.time - lastSave.time < TWICE_MS && isNear(tap, lastSave, within);
document.addEventListener("click", (event) => {
  if (!event.detail) return; // by keyboard
  tapBefore = lastTap;
  lastTap = { x: event.clientX, y: event.clientY, time: event.timeStamp };
  if (isTwice(lastTap, 10)) {
    lastSave = { ...lastSave, time: lastTap.time }; // so is the third of three
    event.preventDefault();
    event.stopImmediatePropagation();
  }
}, true);
const letGo = () => (lastTap = NO_TAP);
document.addEventListener("keydown", letGo, true);
for (const moved of ["touchmove", "wheel"]) document.addEventListener(moved, letGo, { capture: true, passive: true });
document.addEventListener("input", () => (lastSave = NO_TAP), true);

/** Hand a change over: from here on it is in the outbox, and sent as soon as the server is reached.
 * `from` is what brings it back into its form. */
function save(path, body, from = null) {
  if (!from && isTwice(lastTap, 40)) return;
  lastSave = lastTap;
  const op = newOp();
  performance.mark(`save ${op}`);
  tell("Saving …", "busy");
  put({ path, body: { ...body, op }, from });
}

watchOutbox({
  changed: () => {
    tellWaiting();
    renderHead();
    renderPanel();
  },
  done: async (item, answer) => {
    busy += 1;
    try {
      const picture = take(answer); // the state at once, its picture in a moment
      if (!outbox().length) tell(`Saved ${clock(new Date())}`, "good");
      settle(item);
      tellWaiting();
      const isWhole = await picture;
      const begun = `save ${item.body.op}`;
      // What was pressed before the page was loaded has no beginning here.
      if (isWhole && performance.getEntriesByName(begun).length) afterDrawing(() => performance.measure("save to redraw", { start: begun, end: performance.now() }));
    } finally {
      busy -= 1;
    }
  },
  stopped: (item, error) => {
    tell("Not saved", "wrong");
    result = null;
    renderPanel();
    if (error.answer.conflict && item.path !== "/undo") askAbout(item);
    else if (!item.from || !giveBack(item, whys(error))) tellNotTaken(item, error);
  },
  unreached: () => {
    tellWaiting();
    if (result?.waits) result = { text: say("kept_here", { name: result.waits }), tone: "waits", waits: result.waits };
    renderPanel();
  },
  stale: () => freshen(),
});

/* Two frames on, what was drawn is on the screen. */
const afterDrawing = (act) => requestAnimationFrame(() => requestAnimationFrame(act));

function tellWaiting() {
  const list = outbox();
  const stopped = list.filter((item) => item.stopped).length;
  const open = byId("outbox-open");
  open.hidden = !list.length;
  open.textContent = `${list.length} not sent`;
  if (stopped) tell(`${stopped} not taken: see Not sent`, "wrong");
  else if (list.some(({ body, tried }) => tried && !isUnderWay(body.op))) tell(`Not reached: ${list.length} kept on this device`, "wrong", true);
}

const FRESHEN_EVERY_MS = 10000;

/** Load the page again; what is kept on this device is sent then. Where that brought the same page again, wait a little. */
function freshen() {
  const { key, time } = kept("freshened") || {};
  if (key === pageKey && Date.now() - time < FRESHEN_EVERY_MS) return tell(say("join_again"), "wrong");
  keep("freshened", { key: pageKey, time: Date.now() });
  return location.reload();
}

/** After a change is in the site: say what became of its row. The form stays on the next one: who types on must not write over a wrong row. */
function settle({ path, body }) {
  const row = path === "/rows" && body.edits.length === 1 ? savedRow(body) : null;
  if (row?.faults.length) {
    result = null; // its own line stands above the form until it is right
    tell(say("left_out_now"), "wrong");
  } else if (row) result = { text: `${nameOf(row)} is saved${row.said ? `: ${row.said}` : ""}` };
  renderPanel();
}

const MOST_WRONG = 4;

/* What is left out of the line and why the last of it is, with a way back to each: short, for the form under it is in use. */
function leftOut(file) {
  const wrong = state.tables[file].rows.filter(({ faults, text }) => faults.length && text !== editing?.text).reverse();
  if (!wrong.length) return null;
  const [last] = wrong;
  const fields = [...new Set(last.faults.map(({ field }) => field).filter(Boolean))].map((field) => fieldLabel("/rows", { file }, field).toLowerCase());
  const more = wrong.length - MOST_WRONG;
  return make("div", { class: "result", "data-tone": "wrong", role: "status" },
    make("p", { dir: "auto", text: [say("left_out", { name: nameOf(last) }), fields.join(", ")].filter(Boolean).join(": ") }),
    make("div", { class: "doing" },
      ...wrong.slice(0, MOST_WRONG).map((row) => button(`Open ${nameOf(row)}`, () => openRow(file, row), { class: "plain small" })),
      more > 0 ? make("span", { text: say("more_left_out", { count: more }) }) : null));
}

function savedRow({ file, edits: [{ values }] }) {
  // Pasted text may hold tabs and marks nobody sees: the site's file has spaces in their place.
  const written = (value) => value.replace(/[\p{C}\p{Z}]/gu, " ").trim();
  return state.tables[file].rows.findLast((row) => Object.entries(values).every(([name, value]) => (row.values[name] ?? "") === written(value))) || null;
}

const whys = ({ answer, message }) => (answer.faults?.length ? answer.faults : [{ field: "", words: message }]);

/* A change that was refused while something else is being filled in: it waits, and is a press away. */
function tellNotTaken(item, error) {
  tellWaiting();
  const isThere = () => outbox().some(({ body }) => body.op === item.body.op);
  const back = item.from && button("Back to the form", () => {
    if (isThere() && !giveBack(item, whys(error))) alertOnce(say("save_or_cancel"));
    else back.parentElement.remove();
  }, { class: "primary" });
  alertOnce(say("not_taken", { change: describeChange(item), why: whys(error).map(({ words }) => words).join(" ") }), back);
}

/** Bring a change back into its form; false where a form is being filled in, here or that one on its tab. */
function giveBack({ body, from }, faults = []) {
  if (kept(from.draft) || byId("panel").querySelector(":scope > [data-touched]")) return false;
  takeOut(body.op);
  const instead = body.instead || body.op;
  keep(from.draft, { ...from.kept, instead, faults });
  editing = from.kept.row || null;
  tab = from.tab;
  keep("tab", tab);
  release(from.section || "form");
  renderPanel();
  // A list's form is put in its place a moment later, and takes the focus itself.
  if (!from.section) (byId("panel").querySelector("form :is([aria-invalid], input)") || byId("panel").querySelector("h2")).focus();
  return true;
}

function describeChange({ path, body }) {
  const edit = body.edits?.[0];
  const values = edit?.values || body.properties || (body.edits && Object.fromEntries(body.edits.map((each) => [each.path, each.value || "–"]))) || {};
  const words = Object.entries(values).filter(([, value]) => value).map(([name, value]) => `${fieldLabel(path, body, name).toLowerCase()} ${value}`).join(", ");
  const what = { "/rows": ONE[body.file], "/plan": body.take_out ? `taking ${body.name} out of the plan` : forms.plan[body.kind]?.title.toLowerCase(), "/settings": "site", "/undo": "undo", "/outside": "an answer" }[path];
  return [what, words].filter(Boolean).join(": ");
}

/** Say why something asked for was not done: the server is out of reach, or what it answered. */
const reason = (error, unreached = "not_reached_try") => (error instanceof Unreached ? say(unreached) : error.message);

let isOut = false; // what is told is that the server is out of reach

function tell(words, tone, out = false) {
  isOut = out;
  byId("saving").textContent = words;
  byId("saving").dataset.tone = tone;
}

// ── what both sides changed, and what other programs did ─────────────────────────────────────────

/** Show what two sides made of one thing, and let it be chosen which stands. */
function askAbout(item) {
  const dialog = byId("ask");
  if (dialog.open) return; // asked after that, from what is not sent
  const { path, body } = item;
  const { answer } = item.stopped;
  const edit = body.edits?.[0];
  const yours = path === "/settings" ? Object.fromEntries(body.edits.map((each) => [each.path, each.value || ""])) : body.properties || edit?.values || {};
  const theirs = answer.theirs;
  const names = theirs ? Object.keys(yours).filter((name) => (path !== "/settings" || name in theirs) && (theirs[name] ?? "") !== (yours[name] ?? "")) : [];
  const again = (change) => () => {
    dialog.close();
    takeOut(body.op);
    const { op, ...rest } = body;
    if (change.edits?.length !== 0) save(path, { ...rest, ...change }, item.from);
  };
  const mine = path === "/plan" ? { base: answer.row, at: answer.at } : path === "/rows" ? { edits: [{ ...edit, base: answer.row, at: answer.at }] } : { edits: body.edits.map((each) => (theirs && each.path in theirs ? { ...each, seen: theirs[each.path] || null } : each)) };
  // Of a row that is gone the form had all, of one that is there only what was changed.
  const whole = answer.row ? edit?.values.footage !== undefined && edit.values : item.from?.kept.values || edit?.values;
  const isGone = path === "/settings" && !theirs;
  const entry = isGone && { path: body.entry.path, seen: null, count: 0 };
  const anew = {
    "/plan": !body.take_out && (body.base && !answer.row ? { anew: true } : body.places && { base: null }),
    "/rows": whole && { edits: [{ ...edit, values: whole, base: null }] },
    "/settings": isGone && item.from && edit.path !== entry.path && { entry, edits: Object.entries(item.from.kept.values).filter(([, value]) => value).map(([name, value]) => ({ path: `${entry.path}.${name}`, value, seen: null })) },
  }[path];
  const left = { edits: path === "/settings" && !isGone ? body.edits.filter((each) => !(each.path in theirs)) : [] };
  const label = (name) => fieldLabel(path, body, name);
  // Asked on whatever tab: which row it is of, or which part of the plan.
  const seen = item.from?.kept;
  const whose = path === "/rows" && seen?.row ? `${ONE[body.file]} ${nameOf(seen.row)}` : path === "/plan" ? body.name || seen?.feature?.name : "";
  const cells = (name) => [make("th", { scope: "row", text: label(name) }), make("td", { dir: "auto", text: theirs[name] || "–" }), make("td", { dir: "auto", text: yours[name] || "–" })];
  dialog.replaceChildren(
    make("h2", { id: "ask-title", dir: "auto", text: ["Changed in two places", whose].filter(Boolean).join(": ") }),
    make("p", { text: say("choose_what_stands", { what: `${answer.words[0].toUpperCase()}${answer.words.slice(1)}` }) }),
    names.length ? make("table", {}, make("thead", {}, make("tr", {}, make("td"), make("th", { scope: "col", text: "There now" }), make("th", { scope: "col", text: "Yours" }))), make("tbody", {}, names.map((name) => make("tr", {}, cells(name))))) : "",
    make("div", { class: "doing" },
      answer.row || (path === "/settings" && !isGone) ? button("Save mine over it", again(mine), { class: "primary" }) : null,
      anew ? button({ "/plan": "Save mine as a new part", "/rows": "Save mine as a new row", "/settings": "Add mine anew" }[path], again(anew), { class: "plain" }) : null,
      button("Keep what is there", () => { again(left)(); result = null; reload(); }, { class: "plain" }),
      item.from ? button("Back to the form", () => { dialog.close(); tellWaiting(); if (!giveBack(item)) alertOnce(say("save_or_cancel")); }, { class: "plain" }) : null));
  dialog.showModal();
}

/** What a field is called, by its name in the file. */
function fieldLabel(path, body, name) {
  const [table, ...rest] = name.split(".");
  if (/^\d+$/.test(rest.join("."))) return table; // all of an entry
  const groups = path === "/settings" ? forms[table] || forms.site.filter((group) => group.path === table) : path === "/plan" ? [{ fields: forms.plan[body.kind]?.fields || [] }] : forms[body.file];
  const last = name.split(".").pop();
  return groups.flatMap((group) => group.fields).find((field) => field.name === last)?.label.replace(/^(or|and) /, "") || name;
}

function alertOnce(words, ...more) {
  const box = make("div", { class: "alert", role: "alert" }, make("p", { dir: "auto", text: words }), ...more, button("Close", () => keepingFocus(() => box.remove()), { class: "plain" }));
  byId("alerts").append(box);
}

/** Do what may take away or switch off what has the focus; it then goes to the panel, not to nothing. */
function keepingFocus(act) {
  const held = document.activeElement;
  act();
  if (held !== document.body && (!held.isConnected || held.disabled)) (byId("alerts").querySelector("button") || byId("panel").querySelector("h2"))?.focus({ preventScroll: true });
}

function renderOutside() {
  for (const old of byId("alerts").querySelectorAll("[data-outside]")) old.remove();
  for (const { key, words, time, lost } of state.outside) {
    const answer = (putBack) => save("/outside", { key, put_back: putBack });
    byId("alerts").append(make("div", { class: "alert", "data-outside": key },
      make("p", { text: say("no_longer_so", { words, time: clock(time) }) }),
      make("ul", {}, lost.map(({ what, ours, theirs }) => make("li", { dir: "auto" }, make("strong", { text: what }), ` here: ${ours}; now: ${theirs ?? "gone"}`))),
      make("div", { class: "doing" }, button("Put mine back", () => answer(true), { class: "primary" }), button("Leave it as saved there", () => answer(false), { class: "plain" }))));
  }
}

// ── the state ────────────────────────────────────────────────────────────────────────────────────

/** Take the server's state and show all of it; resolves, to true, once that or a later one is shown whole. */
function take(next) {
  showing = show(next);
  return showing;
}

let showing = null; // the last state's

async function show(next) {
  if (next.site.id !== siteId) return freshen(); // another site is served here now
  state = next;
  taken += 1;
  const mine = taken;
  keep("name", state.site.name || state.site.folder);
  const profile = state.picture && !state.picture.plan_only ? askProfile() : Promise.resolve({});
  profile.catch(() => {}); // looked at below
  await showPicture(state.picture);
  renderHead();
  keepingFocus(() => {
    renderSays();
    renderOutside();
  });
  shelve("/state", state);
  try {
    const drawn = await profile;
    if (taken !== mine) return showing;
    showProfile(drawn);
    shelve(profilePath(), drawn);
    return true;
  } catch (error) {
    if (!(error instanceof Unreached)) throw error;
    return false;
  }
}

function renderHead() {
  byId("site-name").textContent = state.site.name || state.site.folder;
  document.title = `${state.site.name || state.site.folder} – entering`;
  const under = new Set(outbox().filter(({ path }) => path === "/undo").map(({ body }) => body.target));
  const last = state.history.find((entry) => !entry.undone && !under.has(entry.op));
  const undo = byId("undo-last");
  keepingFocus(() => (undo.disabled = !last));
  undo.textContent = "Undo";
  undo.title = last ? `Undo: ${last.words}` : "";
  undo.setAttribute("aria-label", last ? `Undo: ${last.words}` : "Undo");
  undo.onclick = () => last && save("/undo", { target: last.op });
}

function renderSays() {
  const says = [...unset(), ...state.says, ...state.faults.map((words) => ({ tone: "stop", title: "Wrong", words }))];
  const urgent = says.filter(({ tone }) => tone === "stop" || tone === "watch").length;
  byId("says-count").textContent = urgent ? `${urgent} to look at` : "";
  byId("says-list").replaceChildren(...says.map((saying) => {
    const show = saying.footage_m === null || saying.footage_m === undefined ? null : button("Show", () => pointAt(saying.footage_m), { class: "plain small", "aria-label": `Show: ${saying.title}` });
    const row = saying.mark && state.tables["locates.csv"].rows.find(({ values }) => values.mark === saying.mark);
    const edit = row ? button("Open its row", () => openRow("locates.csv", row), { class: "plain small", "aria-label": `Open the row of ${saying.mark}` }) : null;
    return make("li", { class: saying.tone }, make("h3", { dir: "auto", text: saying.title }), make("p", { dir: "auto", text: saying.words }), saying.points?.length ? make("ul", {}, saying.points.map((text) => make("li", { dir: "auto", text }))) : null, make("div", { class: "doing" }, show, edit, checkedButton(saying), takeButton(saying)));
  }));
  window.lateralMap?.keepWhole?.(byId("says-list"));
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

/** Say that what was taken so is borne out: what else the readings may mean is open no longer. */
function checkedButton({ applied, unchecked, words }) {
  if (!unchecked) return null;
  const edits = [{ path: `applied.${applied}.checked`, value: "yes", seen: null }];
  return button("I have checked it", () => save("/settings", { edits }), { class: "plain small", "aria-label": `I have checked it: ${words}` });
}

/** What is wrong in the settings, each under its field's own name. */
function unset() {
  const words = [];
  for (const fault of state.settings.faults.filter(({ field }) => !field.startsWith("applied."))) words.push([`Site: ${fieldLabel("/settings", {}, fault.field)}`, fault.words]);
  if (state.settings.unreadable) words.push([say("settings_unreadable"), state.settings.unreadable]);
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
  if (document.hidden || busy || looking) return;
  if (outbox().some(({ stopped }) => !stopped)) return void sendAll();
  looking = true;
  try {
    const before = taken;
    const { id, versions } = await ask("/versions");
    if (id !== siteId) return freshen();
    if (isOut) tell("Reached again", "good");
    // An answer from before a save of our own tells nothing new.
    if (busy || taken !== before || JSON.stringify(versions) === JSON.stringify(state.versions)) return;
    await take(await askState());
    tell("Changed elsewhere and taken in", "good");
    renderPanel();
  } catch (error) {
    if (error instanceof Unreached) tell(say("not_reached_kept"), "wrong", true);
    else if (isStale(error)) freshen();
    else throw error;
  } finally {
    looking = false;
  }
}

let looking = false;

// ── panels ───────────────────────────────────────────────────────────────────────────────────────

const context = () => ({
  units: { ...state.site.units, "": "" },
  names: state.plan.names,
  local: state.site.local,
  hidden: state.site.local ? ["lat", "lon"] : [],
});

const page = { save, context, hold, release, refresh: () => renderPanel(), kept, keep };

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

/* A panel's parts. One that is being filled in stays as it is, whatever comes in meanwhile. */
const place = (key) => byId("panel").querySelector(`:scope > [data-section="${key}"]`);

/* What can take the focus and is to be seen. */
const holders = (section) => [...section.querySelectorAll("button, input, select, textarea, a")].filter((one) => !one.disabled && one.offsetParent);

/** Leave a part of the panel as it is until it is released. */
function hold(key) {
  if (place(key)) place(key).dataset.touched = "yes";
}

/** Let a part of the panel be made anew. */
function release(key) {
  if (!place(key)) return;
  delete place(key).dataset.touched;
  place(key).signature = null;
}

function renderPanel() {
  renderTabs();
  const panel = byId("panel");
  if (activeForm?.element.isConnected) activeForm.moveOn();
  if (panel.dataset.tab !== tab) {
    panel.dataset.tab = tab;
    const title = TABS.find(([key]) => key === tab)[1];
    panel.replaceChildren(make("h2", { id: "panel-title", tabindex: "-1", text: title }));
    if (tab !== "plan") showPlaces("Point", []);
  }
  for (const [key, from, parts] of panels[tab]()) {
    if (!place(key)) panel.append(make("div", { "data-section": key, oninput: () => hold(key) }));
    const section = place(key);
    const signature = JSON.stringify(from);
    if (section.dataset.touched || section.signature === signature) continue;
    // Whoever works by keyboard stays where they were, or as near as can be.
    const held = section.contains(document.activeElement) ? document.activeElement : null;
    const focused = held?.closest("[data-field]")?.dataset.field;
    const number = holders(section).indexOf(held);
    section.signature = signature;
    section.replaceChildren(...parts().filter(Boolean));
    if (!held) continue;
    const now = holders(section);
    const same = focused && section.querySelector(`[data-field="${focused}"] :is(input, select, textarea, button)`);
    (same || now[Math.min(number, now.length - 1)] || panel.querySelector("h2")).focus({ preventScroll: true });
  }
}

const panels = {
  "locates.csv": () => tablePanel("locates.csv"),
  "bends.csv": () => tablePanel("bends.csv"),
  "findings.csv": () => tablePanel("findings.csv"),
  "sketch.csv": () => tablePanel("sketch.csv"),
  plan: () => planPanel(state, page),
  site: () => sitePanel(),
  more: () => morePanel(),
};

// ── rows of a table ──────────────────────────────────────────────────────────────────────────────

function tablePanel(file) {
  const table = state.tables[file];
  if (table.unreadable) return [["form", table.unreadable, () => [make("p", { class: "card fault", text: table.unreadable })]]];
  const waiting = outbox().filter(({ path, body }) => path === "/rows" && body.file === file);
  const begun = keptNames().filter((name) => name.startsWith(`edit ${file} `) && kept(name).row.text !== editing?.text);
  const inForm = [editing, defaults(file), context(), editing && table.rows.find(({ text }) => text === editing.text)?.faults];
  return [
    ["result", [result, table.rows.filter(({ faults }) => faults.length), editing], () => [leftOut(file), result ? make("p", { class: "result", "data-tone": result.tone, role: "status", dir: "auto", text: result.text }) : null]],
    ["form", inForm, () => [rowForm(file, editing)]],
    ["begun", begun, () => begun.map((name) => begunRow(file, name))],
    ["rows", [table, waiting, editing, state.site.units], () => [
      ...table.faults.map((words) => make("p", { class: "fault", text: words })),
      make("h3", { text: table.rows.length + waiting.length ? "Entered, the last one first" : "Nothing entered yet" }),
      make("ul", { class: "rows" }, [...waiting].reverse().map(waitingRow), [...table.rows].reverse().map((each) => rowButton(file, each)))]],
  ];
}

/* A change of a row that was begun and not saved, kept from an earlier time. */
function begunRow(file, name) {
  const { row, values } = kept(name);
  const changed = Object.entries(values).filter(([key, value]) => value !== (row.values[key] ?? "")).map(([key, value]) => `${fieldLabel("/rows", { file }, key).toLowerCase()} ${value || "–"}`).join(", ");
  return make("div", { class: "alert" }, make("p", { dir: "auto", text: `Begun and not saved: ${nameOf(row)}, ${changed || "nothing changed"}` }),
    make("div", { class: "doing" }, button("Open", () => openRow(file, row), { class: "plain" }), button("Forget it", () => { keep(name, null); renderPanel(); }, { class: "plain" })));
}

/* The tap that follows a save where that was made, however late, is a slow double tap's second: what it
 * meets came up under the finger. */
const isOnTheSave = () => tapBefore === lastSave && isNear(lastTap, lastSave, 40);

/* A row that is not in the site yet: it can be called back until it is on its way. */
function waitingRow(item) {
  return make("li", {}, make("button", { type: "button", class: "row waiting", onclick: ({ detail }) => isUnderWay(item.body.op) || (detail && isOnTheSave()) || giveBack(item) || alertOnce(say("save_or_cancel")) },
    make("strong", { dir: "auto", text: nameOf({ values: { ...item.from?.kept.row?.values, ...item.body.edits[0].values } }) }),
    make("span", { class: "bits", dir: "auto", text: describeChange(item) }),
    make("span", { class: "verdict", text: item.stopped ? "not taken" : "not sent yet" })));
}

function nameOf({ values }) {
  const turn = values.turn ? `${Math.abs(Number(values.turn)) || values.turn}° ${values.turn.startsWith("-") ? "left" : "right"}` : "";
  const sketched = values.what && [...new Set([values.what, values.name || `${values.from || ""} ${values.to || ""}`.trim()])].join(" ");
  return values.mark || values.finding || sketched || turn || "Row";
}

function rowButton(file, row) {
  const { values, verdict, said } = row;
  const unit = state.site.units.length;
  const shown = (text) => (/^-?[\d.]+$/.test(text) ? `${text} ${unit}` : text);
  const bits = [values.no_locate && `no locate: ${values.no_locate}`, values.footage && `at ${shown(values.footage)}`, values.from && `from ${values.from}`, values.to && `to ${shown(values.to)}`, values.distance && shown(values.distance), values.what && values.offset && `${shown(values.offset)} ${values.side || "off"}`, values.depth && `${shown(values.depth)} deep`, ties(values), values.severity];
  const faults = row.faults.map(({ field, words }) => make("span", { class: "fault", text: `${field ? `${fieldLabel("/rows", { file }, field)}: ` : ""}${words}` }));
  return make("li", {}, make("button", { type: "button", class: `row ${verdict.replace(" ", "-")}`, "aria-current": row.text === editing?.text ? "true" : null, onclick: () => openRow(file, row) },
    make("strong", { dir: "auto", text: nameOf(row) }),
    make("span", { class: "bits", dir: "auto", text: bits.filter(Boolean).join(", ") }),
    verdict ? make("span", { class: "verdict" }, make("span", { "aria-hidden": "true", class: "sign", text: SIGNS[verdict] }), said) : null,
    ...faults));
}

function ties(values) {
  const tapes = [1, 2, 3].filter((n) => values[`tape${n}`]).length;
  const kinds = [tapes && `${tapes} ${tapes === 1 ? "tape" : "tapes"}`, values.lat && "GNSS", values.x && "x, y", (values.along || values.offset || values.past) && values.line];
  return kinds.filter(Boolean).join(" + ");
}

function openRow(file, row) {
  tab = file;
  editing = { text: row.text, at: row.at, values: row.values };
  keep("tab", file);
  release("form");
  renderPanel();
  reveal(byId("panel"));
  byId("panel").querySelector("form :is([aria-invalid], input)")?.focus({ preventScroll: isNarrow() });
  const mark = state.says.find((saying) => saying.mark && saying.mark === row.values.mark);
  if (mark?.footage_m !== undefined && mark?.footage_m !== null) pointAt(mark.footage_m);
}

function leaveEditing() {
  editing = null;
  release("form");
  renderPanel();
}

function rowForm(file, row) {
  const extras = { "locates.csv": { position: positionTools }, "findings.csv": { finding: () => photographTool(() => form) } }[file] || {};
  const form = makeForm(forms[file], { ...context(), extras });
  const draftName = row ? `edit ${file} ${row.text}` : `draft ${file}`;
  const draft = kept(draftName);
  const starting = row ? row.values : defaults(file);
  form.fill({ ...starting, ...draft?.values });
  if (!row) openLikeLast(file, form);
  if (draft) queueMicrotask(() => hold("form"));
  // A mark that nobody typed moves on where another row has it by now; a typed one stays, and is told.
  let proposed = row ? null : draft ? draft.proposed : starting.mark;
  const keepDraft = () => keep(draftName, { row, values: form.values(), instead: draft?.instead, proposed });
  form.element.addEventListener("input", ({ target }) => {
    if (target.closest('[data-field="mark"]')) proposed = null;
    keepDraft();
  });
  form.moveOn = () => {
    if (!proposed || !rowsSoFar(file).some(({ mark }) => mark === proposed)) return;
    const taken = proposed;
    proposed = defaults(file).mark;
    form.inputs.get("mark").set(proposed);
    form.inputs.get("mark").note(say("mark_taken", { taken }));
    if (kept(draftName)) keepDraft();
  };
  form.moveOn();

  const hand = (values) => {
    const edits = [{ values, base: row ? row.text : null, at: row ? row.at : 0 }];
    const from = { tab: file, draft: draftName, kept: { row, values: { ...values, ...form.values() } } };
    keep(draftName, null);
    editing = null;
    const name = nameOf({ values: { ...row?.values, ...values } });
    result = { text: `${name} is on its way`, waits: name };
    release("form");
    save("/rows", { file, edits, instead: draft?.instead }, from);
    focusNext(file);
  };
  const submit = (event) => {
    event.preventDefault();
    const values = row ? form.values() : withoutIdle(form.values(), starting);
    if (!worthSaving(file, values)) {
      form.showFaults([{ field: "footage", words: "a footage is needed" }]);
      return;
    }
    const changed = row ? Object.fromEntries(Object.entries(values).filter(([name, value]) => value !== (row.values[name] ?? ""))) : values;
    if (row && !Object.keys(changed).length) leave();
    else hand(changed);
  };
  const leave = () => {
    keep(draftName, null);
    leaveEditing();
  };
  const isAside = /^no?$/i.test(row?.values.use || "");
  const element = make("form", { class: "entry", onsubmit: submit, "aria-label": `${row ? "Change a" : "New"} ${ONE[file]}` },
    make("h3", { text: row ? `Change ${ONE[file]} ${row.values.mark || ""}`.trim() : `New ${ONE[file]}` }),
    form.element,
    form.told,
    make("div", { class: "doing" },
      make("button", { type: "submit", class: "primary", text: row ? "Save the change" : `Save ${ONE[file]}` }),
      row ? button(isAside ? "Use it again" : "Set aside", () => hand({ use: isAside ? "yes" : "no" }), { class: "plain" }) : null,
      row ? button("Cancel", leave, { class: "plain" }) : null));
  const faults = draft?.faults || (row && state.tables[file].rows.find(({ text }) => text === row.text)?.faults) || [];
  if (faults.length) queueMicrotask(() => form.showFaults(faults));
  activeForm = form;
  return element;
}

/* On to the next row, what became of the last one above it. */
function focusNext(file) {
  const first = byId("panel").querySelector(file === "locates.csv" ? '[data-field="footage"] input' : "form :is(input, button)");
  if (isNarrow()) place("result").scrollIntoView({ block: "start" });
  else byId("desk").scrollTop = 0;
  first?.focus({ preventScroll: isNarrow() });
}

let activeForm = null;

function worthSaving(file, values) {
  if (file === "sketch.csv") return Boolean(values.what && (values.name || values.distance || values.offset));
  return Boolean(values.footage || (file === "locates.csv" && values.depth));
}

/** Leave out a point or line the last row left behind where nothing was measured from it. */
function withoutIdle(values, starting) {
  const partners = { tape1_from: ["tape1"], tape2_from: ["tape2"], tape3_from: ["tape3"], line: ["along", "offset", "past"] };
  const idle = Object.keys(partners).filter((name) => values[name] && values[name] === starting[name] && partners[name].every((other) => !values[other]));
  return { ...values, ...Object.fromEntries(idle.map((name) => [name, ""])) };
}

/** What a new row starts with: the last row's points, line and habits, and the next mark. */
function defaults(file) {
  const rows = rowsSoFar(file);
  const last = rows.findLast((row) => !row.no_locate) || {};
  const values = {};
  for (const field of forms[file].flatMap((group) => group.fields)) {
    if (field.keep && last[field.name]) values[field.name] = last[field.name];
    else if (field.default) values[field.name] = field.default;
  }
  if (file === "locates.csv") values.mark = nextMark(rows.map((row) => row.mark || ""));
  // Round a building each wall begins where the one before ends, and the last one closes it.
  const first = file === "sketch.csv" ? rows.find(({ what }) => what === "wall")?.from : null;
  if (first && last.what === "wall" && last.to !== first) Object.assign(values, { what: "wall", from: last.to, turn: last.turn, to: /^[A-Y]$/.test(last.to) ? nextMark([last.to]) : "" });
  return values;
}

/* The values of the rows there are, those included that are still on their way. */
function rowsSoFar(file) {
  const added = outbox().filter(({ path, body }) => path === "/rows" && body.file === file).flatMap(({ body }) => body.edits);
  return [...state.tables[file].rows.map(({ values }) => values), ...added.filter(({ base }) => base === null).map(({ values }) => values)];
}

function nextMark(marks) {
  const last = marks[marks.length - 1];
  if (!last) return marks.length ? "" : "A";
  for (let next = markAfter(last); next; next = markAfter(next)) if (!marks.includes(next)) return next;
  return "";
}

function markAfter(last) {
  const number = last.match(/^(.*?)(\d+)$/);
  const letter = last.match(/^(.*?)([A-Ya-y])$/);
  return number ? `${number[1]}${String(Number(number[2]) + 1).padStart(number[2].length, "0")}` : letter ? `${letter[1]}${String.fromCharCode(letter[2].charCodeAt(0) + 1)}` : /^z$/i.test(last) ? `${last}1` : "";
}

/** Open the groups that the last row used: the next locate is usually tied the same way. */
function openLikeLast(file, form) {
  if (file !== "locates.csv") return;
  const last = rowsSoFar(file).findLast((row) => !row.no_locate) || null;
  for (const [key, { holder, fields }] of form.holders) {
    if (!holder.turn || ["more", "no_locate"].includes(key)) continue;
    const used = last ? fields.some((name) => last[name]) : key === "tapes" && state.plan.names.points.length > 0;
    if (used) holder.turn(true);
  }
}

// ── positions ────────────────────────────────────────────────────────────────────────────────────

/* Under Position: the device's own fix, where the browser gives one. */
function positionTools() {
  if (state.site.local) return make("p", { class: "quiet", text: state.site.no_gnss });
  const told = make("p", { class: "quiet", role: "status" });
  if (!navigator.geolocation || !window.isSecureContext) {
    told.textContent = say("no_position_here");
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
    if (document.activeElement === use) watchButton.focus({ preventScroll: true }); // what is hidden loses the focus to nothing
    use.hidden = true;
  };
  const show = ({ coords }) => {
    fix = coords;
    use.hidden = false;
    told.textContent = say("position_within", { radius: coords.accuracy.toFixed(1) });
  };
  const refuse = (error) => {
    told.textContent = error.code === 1 ? say("position_not_allowed") : say("position_not_found");
    end();
  };
  const takeFix = async () => {
    const { latitude, longitude, accuracy } = fix;
    let values;
    try {
      values = await ask(`/fix?lat=${latitude}&lon=${longitude}&radius=${accuracy}`);
    } catch (error) {
      told.textContent = reason(error);
      return;
    }
    for (const name of ["lat", "lon", "accuracy"]) activeForm.inputs.get(name)?.set(values[name]);
    activeForm.element.dispatchEvent(new Event("input", { bubbles: true }));
    told.textContent = values.words;
    end();
  };
  return make("div", {}, make("div", { class: "chips" }, watchButton, use), told);
}

// ── settings ─────────────────────────────────────────────────────────────────────────────────────

function sitePanel() {
  const { settings, site } = state;
  if (settings.unreadable) return [["form", settings.unreadable, () => [make("p", { class: "card fault", text: settings.unreadable })]]];
  const values = settingsSoFar();
  const sections = [["form", [values, settings.faults, site, context()], () => [siteForm(values)]]];
  if (site.is_new) return sections;
  const lists = [["pipe", "Pipe", "from"], ["boundary", "Boundaries", "line"]];
  if (values["picture.file"]) lists.push(["picture_point", "Points found in the picture", "point"]);
  for (const [name, title, key] of lists) {
    sections.push([name, [values, settings.lists[name], settings.faults, context()], () => [listPanel(name, title, key, values)]]);
  }
  return sections;
}

/* The settings there are, with those that are still on their way. */
function settingsSoFar() {
  const values = { ...state.settings.values };
  for (const { body } of outbox().filter(({ path, stopped }) => path === "/settings" && !stopped)) {
    for (const { path, value } of body.edits) if (value === null) delete values[path]; else values[path] = value;
  }
  return values;
}

function siteForm(values) {
  const isNew = state.site.is_new;
  const form = makeForm(forms.site, { ...context(), hidden: state.site.local ? ["lat", "lon"] : [], extras: { picture: () => pictureTool(() => form) } });
  const draft = kept("draft site"); // the fields changed alone, each with what was seen there
  const usual = isNew ? { "site.name": state.site.folder, "site.date": today(), "site.unit": "ft", "site.crs": "local", "start.x": "0", "start.y": "0" } : {};
  form.fill({ ...usual, ...values, ...draft?.values }, { openFilled: false });
  const edits = () => Object.entries(form.values())
    .filter(([path, value]) => value !== (values[path] ?? ""))
    .map(([path, value]) => ({ path, value: value || null, seen: draft?.seen?.[path] ?? values[path] ?? null }));
  const unsaved = () => ({ values: Object.fromEntries(edits().map(({ path, value }) => [path, value || ""])), seen: Object.fromEntries(edits().map(({ path, seen }) => [path, seen])) });
  form.element.addEventListener("input", () => keep("draft site", unsaved()));
  if (draft) queueMicrotask(() => hold("form"));
  const submit = (event) => {
    event.preventDefault();
    const changes = edits();
    if (!changes.length) return;
    const from = { tab: "site", draft: "draft site", kept: unsaved() };
    keep("draft site", null);
    release("form");
    save("/settings", { edits: changes }, from);
    const unit = changes.find(({ path, seen }) => path === "site.unit" && seen);
    const count = Object.values(state.tables).flatMap(({ rows }) => rows).length;
    if (unit && count) alertOnce(say("unit_changed", { before: FACES[unit.seen] || unit.seen, now: FACES[unit.value] || unit.value, count }));
  };
  queueMicrotask(() => form.showFaults(draft?.faults || state.settings.faults.filter(({ field }) => form.inputs.has(field))));
  return make("form", { class: "entry", onsubmit: submit, "aria-label": "Site settings" },
    isNew ? make("p", { class: "quiet", text: say("new_site") }) : null,
    form.element, form.told,
    make("div", { class: "doing sticky" }, make("button", { type: "submit", class: "primary", text: isNew ? "Begin this site" : "Save settings" })));
}

function today() {
  const now = new Date();
  return new Date(now.getTime() - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
}

/* Pipe runs and boundaries: lists of small tables in site.toml. */
function listPanel(name, title, key, values) {
  const texts = state.settings.lists[name] || {};
  const entries = Object.keys(texts);
  const fields = forms[name].flatMap((group) => group.fields);
  const of = (path) => Object.fromEntries(fields.map((field) => [field.name, values[`${path}.${field.name}`] ?? ""]));
  const holder = make("div", {});
  const { units } = context();
  const draftName = `draft ${name}`;
  const close = () => {
    keep(draftName, null);
    release(name);
  };
  const open = (path, draft = null) => {
    holder.replaceChildren(entryForm(path, draft));
    hold(name);
    holder.querySelector("input, select, button").focus();
  };
  const entryForm = (path, draft) => {
    const isNew = !entries.includes(path);
    const seen = draft?.seen || (isNew ? {} : of(path));
    const entry = draft?.entry || { path, seen: texts[path] ?? null, count: entries.length };
    const form = makeForm(forms[name], context());
    form.fill(draft?.values || (isNew && name === "pipe" && !entries.length ? { from: "0" } : seen));
    const now = () => ({ path, seen, entry, values: form.values() });
    form.element.addEventListener("input", () => keep(draftName, now()));
    const hand = (edits) => {
      const from = { tab: "site", section: name, draft: draftName, kept: now() };
      close();
      save("/settings", { edits, entry }, from);
      byId("panel").querySelector(`[data-section="${name}"] .chip`)?.focus({ preventScroll: true });
    };
    const submit = (event) => {
      event.preventDefault();
      const given = form.values();
      const edits = fields.map((field) => field.name).filter((field) => given[field] !== (seen[field] || "")).map((field) => ({ path: `${path}.${field}`, value: given[field] || null, seen: seen[field] || null }));
      if (edits.length) hand(edits);
    };
    const faults = draft?.faults || state.settings.faults.filter(({ field }) => field.startsWith(`${path}.`)).map(({ field, words }) => ({ field: field.slice(path.length + 1), words }));
    queueMicrotask(() => form.showFaults(faults));
    return make("form", { class: "entry", onsubmit: submit, "aria-label": title }, name === "picture_point" ? pointTool(form) : null, form.element, form.told,
      make("div", { class: "doing" }, make("button", { type: "submit", class: "primary", text: isNew ? "Add" : "Save" }), button("Cancel", () => { close(); renderPanel(); }, { class: "plain" }), isNew ? null : button("Take out", () => hand([{ path, value: null, seen: texts[path] }]), { class: "plain" })));
  };
  const row = (path) => {
    const head = values[`${path}.${key}`] ? key : "at";
    const sides = { inside: " before it", outside: " past it" };
    const said = ({ name: column, kind, unit }) => {
      const value = values[`${path}.${column}`] || "";
      if (kind === "flag") return value === "yes" ? column : "";
      return /^[\d.]+$/.test(value) ? `${value} ${units[unit] ?? unit}`.trim() : value && value + (sides[column] || "");
    };
    const words = fields.filter((field) => field.name !== head).map(said).filter(Boolean).join(", ");
    const title = said(fields.find((field) => field.name === head));
    const faults = state.settings.faults.filter(({ field }) => field === path || field.startsWith(`${path}.`));
    return make("li", {}, make("button", { type: "button", class: `row${faults.length ? " left-out" : ""}`, onclick: () => open(path) }, make("strong", { dir: "auto", text: title || "–" }), make("span", { class: "bits", dir: "auto", text: words }), ...faults.map((fault) => make("span", { class: "fault", text: fault.words }))));
  };
  const draft = kept(draftName);
  if (draft) queueMicrotask(() => open(draft.path, draft));
  return make("section", { class: "list", "data-list": name },
    make("h3", { text: title }),
    name === "picture_point" ? fitWords() : null,
    make("ul", { class: "rows" }, entries.map(row)),
    button({ pipe: "Add a pipe run", boundary: "Add a boundary", picture_point: "Add a point" }[name], () => open(`${name}.${entries.length}`), { class: "chip" }),
    holder);
}

/* A world file or a GeoTIFF says where a picture lies; points say it for any other. */
function fitWords() {
  const [head, ...each] = state.plan.picture_points;
  if (!head) return null;
  return make("div", { class: "quiet" }, make("p", { text: head }), make("ul", {}, each.map((text) => make("li", { dir: "auto", text }))));
}

function pointTool(form) {
  const told = make("p", { class: "fault", role: "alert" });
  const open = button("Find it in the picture", async () => {
    told.textContent = "";
    try {
      const found = await pointInPicture();
      if (!found) return;
      for (const name of ["column", "row"]) form.inputs.get(name).set(found[name]);
      form.element.dispatchEvent(new Event("input", { bubbles: true }));
    } catch (error) {
      told.textContent = reason(error);
    } finally {
      (form.inputs.get("column").get() ? form.element.querySelector('[data-field="point"] :is(input, select, button)') : open)?.focus();
    }
  }, { class: "chip strong" });
  return make("div", {}, open, told);
}

/* A file chosen on this device goes into the site's folder: `address` says where, or nothing where something is missing,
 * and `done` is told what became of it. Both get what tells of it on the page. */
function fileTool(text, accept, { name, address, done }) {
  const told = make("p", { role: "status", class: "quiet" });
  const file = make("input", { type: "file", accept, hidden: true, "aria-label": name });
  const open = button(text, () => address("", told) && file.click(), { class: "chip" });
  file.addEventListener("change", async () => {
    const path = file.files.length && address(file.files[0].name, told);
    if (!path) return;
    told.textContent = "Sending …";
    try {
      done(await send(path, file.files[0]), told);
    } catch (error) {
      told.textContent = reason(error, "not_reached_choose");
    }
    file.value = "";
  });
  return make("div", { class: "tool" }, open, file, told);
}

/* A picture to lay under the plan; the field then has its name. */
const pictureTool = (formNow) => fileTool("Choose a picture on this device", "image/jpeg,image/png,image/webp,image/tiff", {
  name: "Picture",
  address: (name) => `/pictures?name=${encodeURIComponent(name)}`,
  done: (answer, told) => {
    const form = formNow();
    form.inputs.get("picture.file").set(answer.file);
    form.element.dispatchEvent(new Event("input", { bubbles: true }));
    told.textContent = say("picture_taken", answer);
    form.inputs.get("picture.accuracy").focus();
  },
});

/* A photograph of what was seen, named by its footage, for the letter. */
const photographTool = (formNow) => fileTool("Add a photograph", "image/*", {
  name: "Photograph",
  address: (_, told) => {
    const at = formNow().inputs.get("footage");
    if (at.get()) return `/photographs?footage=${encodeURIComponent(at.get())}`;
    told.textContent = say("footage_first");
    return void at.focus();
  },
  done: (answer, told) => (told.textContent = say("photograph_taken", answer)),
});

// ── more ─────────────────────────────────────────────────────────────────────────────────────────

function morePanel() {
  const list = outbox();
  return [
    ["outbox", [list, list.map(({ body }) => isUnderWay(body.op)), offline], () => [outboxPanel(list)]],
    ["offers", "", () => [
      make("h3", { text: "Files made from it" }),
      make("p", { class: "quiet", text: say("offers") }),
      make("ul", { class: "rows" }, offers.map(offerRow))]],
    ["form", state.site.local, () => [make("h3", { text: "GNSS file" }), gnssPanel()]],
    ["devices", "", () => (isShared ? [make("h3", { text: "Other devices" }), devicePanel()] : [])],
    ["history", state.history, () => [
      make("h3", { text: "History" }),
      make("ol", { class: "history" }, state.history.map(historyRow)),
      state.history.length ? null : make("p", { class: "quiet", text: say("nothing_changed") })]],
  ];
}

let offline = ""; // whether the page can be loaded without its server

/* What is typed and not in the site's folder yet: seen, edited, forgotten, given out, taken in. */
function outboxPanel(list) {
  const file = make("input", { type: "file", id: "outbox-file", accept: ".json", hidden: true });
  file.addEventListener("change", async () => {
    release("outbox");
    try {
      tell(`${takeIn(await file.files[0].text())} taken in`, "good");
    } catch (error) {
      alertOnce(error.message);
    }
  });
  const others = othersWaiting();
  const notes = [
    keepsNothing() ? say("keeps_nothing") : null,
    offline,
    earlierAddresses.length ? say("other_addresses", { addresses: earlierAddresses.join(", ") }) : null,
  ];
  return make("section", { id: "outbox", "aria-labelledby": "outbox-title" },
    make("h3", { id: "outbox-title", text: "Not sent" }),
    list.length ? make("ul", { class: "rows" }, list.map(outboxRow)) : make("p", { class: "quiet", text: say("all_sent") }),
    make("div", { class: "doing" },
      list.length ? button("Send now", () => sendAll(), { class: "chip strong" }) : null,
      list.length ? button("Export", () => handOver("not-sent.json", new Blob([outboxText()], { type: "application/json" })), { class: "chip" }) : null,
      button("Take in a file", () => file.click(), { class: "chip" }), file),
    others.map(({ name, site, changes }) => make("div", { class: "alert" }, make("p", { dir: "auto", text: say("other_site_waits", { count: changes.length, name }) }),
      button("Export", () => handOver("not-sent.json", new Blob([JSON.stringify({ format: 1, site, changes }, null, 1)], { type: "application/json" })), { class: "plain" }))),
    notes.filter(Boolean).map((text) => make("p", { class: "quiet", text })));
}

function outboxRow(item) {
  const { body, from, stopped, since } = item;
  const words = describeChange(item);
  const call = (what) => ({ class: "plain small", "aria-label": `${what}: ${words}` });
  return make("li", { class: "outbox-row" },
    make("span", { dir: "auto", text: words }),
    make("span", { class: stopped ? "fault" : "quiet", dir: "auto", text: stopped ? stopped.words : `${isUnderWay(body.op) ? "on its way" : "waiting"} since ${clock(since)}` }),
    isUnderWay(body.op) ? null : make("div", { class: "doing" },
      stopped?.answer?.conflict && item.path !== "/undo" ? button("Answer", () => askAbout(item), call("Answer")) : stopped ? button("Send again", () => sendAgain(body.op), call("Send again")) : null,
      from ? button("Edit", () => giveBack(item) || alertOnce(say("save_or_cancel")), call("Edit")) : null,
      button("Forget", () => takeOut(body.op), call("Forget"))));
}

function handOver(file, content) {
  const link = make("a", { href: URL.createObjectURL(content), download: file });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
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
    handOver(file, content);
    tell(`${file} is made`, "good");
  } catch (error) {
    tell("Not made", "wrong");
    if (error instanceof Refused) alertOnce(error.message);
    else if (error instanceof Unreached) alertOnce(say("not_reached"));
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
  const list = make("ul", { class: "rows" });
  const told = make("p", { class: "fault", role: "alert" });
  const tried = (act) => async () => {
    told.textContent = "";
    try {
      await act();
    } catch (error) {
      told.textContent = reason(error);
    }
  };
  const open = tried(async () => {
    const { address, code, words } = await send("/link", {});
    holder.replaceChildren(make("img", { src: code, alt: "A code to scan: it holds the link below", class: "code" }), make("p", { class: "address", text: address }), make("p", { class: "quiet", text: words }));
  });
  const show = ({ devices }) => list.replaceChildren(...devices.map(({ id, kind, address, joined, seen, own }) => make("li", { class: "outbox-row" },
    make("span", { text: `${kind} at ${address}${own ? ", this one" : ""}` }), make("span", { class: "quiet", text: `joined ${clock(joined)}, last asked ${clock(seen)}` }),
    button("Turn it out", tried(async () => show(await send("/turn-out", { device: id }))), { class: "plain small", "aria-label": `Turn out ${kind} at ${address}` }))));
  tried(async () => show(await ask("/devices")))();
  return make("div", {}, list, told, button("Make a link", open, { class: "chip" }), holder);
}

/* Points of a GNSS file matched to marks; each match is looked at before it is saved. */
function gnssPanel() {
  if (state.site.local) return make("p", { class: "quiet", text: state.site.no_gnss });
  const holder = make("div", {});
  const file = make("input", { type: "file", id: "gnss-file", accept: ".gpx,.kml,.geojson,.json,.csv" });
  const meaning = make("select", { id: "gnss-meaning" }, forms.meanings.map(([value, text]) => make("option", { value, text })));
  const unit = make("select", { id: "gnss-unit" }, ["m", "ft"].map((value) => make("option", { value, text: value })));
  const read = async () => {
    if (!file.files.length) return;
    try {
      const query = `name=${encodeURIComponent(file.files[0].name)}&meaning=${meaning.value}&unit=${unit.value}`;
      const { points } = await send(`/points?${query}`, file.files[0]);
      holder.replaceChildren(matchForm(points));
    } catch (error) {
      holder.replaceChildren(make("p", { class: "fault", role: "alert", text: reason(error, "not_reached_file") }));
      file.value = ""; // so that the same one can be chosen again
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
    if (!edits.length) return;
    release("form");
    save("/rows", { file: "locates.csv", edits });
  };
  return make("form", { class: "entry", onsubmit: submit, "aria-label": "Match points to marks" },
    make("ul", { class: "rows" }, picks.map(({ point, select }) => make("li", { class: "match" }, make("label", { for: select.id, dir: "auto", text: point.name || "no name" }), select, make("span", { class: "quiet", text: point.words })))),
    make("div", { class: "doing" }, make("button", { type: "submit", class: "primary", text: "Take these positions" })));
}

// ── begin ────────────────────────────────────────────────────────────────────────────────────────

async function begin() {
  watchViews();
  if (isNarrow()) byId("says").open = false;
  if (state.site.is_new) tab = "site";
  byId("outbox-open").addEventListener("click", () => openTab("more"));
  renderHead();
  renderPanel();
  const trouble = (error) => {
    if (isStale(error)) freshen();
    else if (error instanceof Refused) alertOnce(error.message);
    else tell(say("not_reached_kept"), "wrong", true);
    if (!(error instanceof Unreached || error instanceof Refused)) reportError(error);
  };
  let drawn = null;
  try {
    drawn = take(await askState());
    if (reach.old) tell(say("not_reached_shown"), "wrong", true);
  } catch (error) {
    trouble(error);
  }
  // Whatever the answer was, and however long its drawing takes: what is kept here is sent, and the page goes on looking.
  sendAll();
  setInterval(look, LOOK_EVERY_MS);
  document.addEventListener("visibilitychange", look);
  window.addEventListener("online", look);
  try {
    await drawn;
  } catch (error) {
    trouble(error);
  }
  renderPanel();
  for (const { address, count } of waitingAtOtherPorts()) {
    alertOnce(say(count === 1 ? "one_waits_there" : "some_wait_there", { count, address }), make("a", { href: address, text: "Open that page: it sends them" }));
  }
  document.body.dataset.ready = "yes";
  try {
    await navigator.serviceWorker.register("/offline.js");
    offline = say("loads_again");
  } catch {
    offline = say("cannot_load_again");
  }
  renderPanel();
}

begin();
