/* Forms out of the server's own list of fields. Every field: its label, its unit, its fault. */

import { ask, button, isNarrow, make, pace } from "./parts.js";

let count = 0;
export const FACES = { us_ft: "US survey ft" };
const KEYS_FT = [["ft", "'"], ["in", '"'], ["¼", " 1/4"], ["½", " 1/2"], ["¾", " 3/4"], ["−", "-"]];
const KEYS_SIGN = [["−", "-"]];
const KEYS_M = [["cm", " cm"], ["−", "-"]];

/** Make a form's groups; `context` gives units, names of points and lines, and which are open. */
export function makeForm(groups, context) {
  const inputs = new Map();
  const faults = new Map();
  const holders = new Map();
  const body = make("div", { class: "groups" });
  const chips = make("div", { class: "chips", role: "group", "aria-label": "Also fill in" });

  for (const group of groups) {
    const fields = group.fields.filter((field) => !(context.hidden || []).includes(field.name));
    if (!fields.length) continue;
    const grid = make("div", { class: "grid" });
    for (const field of fields) {
      const made = makeField(field, context);
      inputs.set(pathOf(group, field), made);
      faults.set(pathOf(group, field), made.fault);
      grid.append(made.element);
    }
    const extra = context.extras?.[group.key];
    const holder = make(
      "fieldset",
      { class: "group", id: `group-${(count += 1)}` },
      group.title ? make("legend", { text: group.title }) : null,
      group.help ? make("p", { class: "quiet", text: group.help }) : null,
      grid,
      extra ? extra() : null,
    );
    holders.set(group.key || group.title, { holder, fields: fields.map((field) => pathOf(group, field)) });
    if (group.optional) {
      if (!chips.parentNode) body.append(chips);
      chips.append(opener(group, holder));
    }
    body.append(holder);
  }
  const told = make("p", { class: "fault", role: "alert", hidden: true });
  const form = { element: body, inputs, faults, holders, chips, told };
  form.values = () => Object.fromEntries([...inputs].map(([name, input]) => [name, input.get()]));
  form.fill = (values, { openFilled = true } = {}) => {
    for (const [name, input] of inputs) if (name in values) input.set(values[name]);
    if (openFilled) openWhereFilled(form);
  };
  form.showFaults = (list) => showFaults(form, list);
  return form;
}

const pathOf = (group, field) => (group.path ? `${group.path}.${field.name}` : field.name);

function opener(group, holder) {
  const turn = (open) => {
    holder.hidden = !open;
    chip.setAttribute("aria-expanded", String(open));
  };
  const chip = button(group.title, () => {
    turn(holder.hidden);
    if (!holder.hidden) holder.querySelector("input, select")?.focus();
  }, { class: "chip", "aria-controls": holder.id });
  holder.turn = turn;
  turn(false);
  return chip;
}

function openWhereFilled(form) {
  for (const { holder, fields } of form.holders.values()) {
    if (holder.turn && fields.some((name) => form.inputs.get(name).get())) holder.turn(true);
  }
}

/** Put each fault beside its field; those of no field of the form are told in one place, and seen. */
function showFaults(form, list) {
  for (const fault of form.faults.values()) fault("");
  const rest = [];
  let first = null;
  for (const { field, words } of list) {
    const show = form.faults.get(field);
    if (!show) {
      rest.push(words);
      continue;
    }
    show(words);
    first ||= field;
    for (const { holder, fields } of form.holders.values()) if (holder.turn && fields.includes(field)) holder.turn(true);
  }
  form.told.textContent = rest.join(" ");
  form.told.hidden = !rest.length;
  if (first) form.inputs.get(first).focus();
  else if (rest.length) form.told.scrollIntoView({ block: "center" });
}

const makers = {
  length: lengthField, number: textField, angle: angleField, text: textField, lines: textField, date: dateField,
  choice: choiceField, flag: flagField, point: nameField, line: nameField,
};

function makeField(field, context) {
  count += 1;
  const id = `field-${count}`;
  const unit = context.units[field.unit] ?? field.unit;
  return makers[field.kind](field, { id, unit, context });
}

/* A field's frame: label, control with its unit, help, fault. */
function frame(field, { id, unit }, control, { grouped = false, extra = [] } = {}) {
  const help = make("p", { class: "help", id: `${id}-help`, text: field.help });
  const fault = make("p", { class: "fault", id: `${id}-fault`, hidden: true });
  const label = grouped ? make("span", { class: "label", id: `${id}-label`, text: field.label }) : make("label", { for: id, text: field.label });
  const unitWords = unit ? make("span", { class: "unit", "aria-hidden": "true", text: unit }) : null;
  if (unit && !grouped) label.append(make("span", { class: "hidden-words", text: `, ${spoken(unit)}` }));
  const target = grouped ? control : control.matches("input, select, textarea") ? control : control.querySelector("input, select");
  target.setAttribute("aria-describedby", `${id}-help ${id}-fault`);
  const element = make("div", { class: `field ${field.kind}`, "data-field": field.name }, label, make("div", { class: "box" }, control, unitWords), ...extra, help, fault);
  return {
    element,
    help,
    fault: (words) => {
      fault.textContent = words;
      fault.hidden = !words;
      element.classList.toggle("wrong", Boolean(words));
      if (words) target.setAttribute("aria-invalid", "true");
      else target.removeAttribute("aria-invalid");
    },
  };
}

const spoken = (unit) => ({ ft: "feet", m: "metres", in: "inches", mm: "millimetres", "°": "degrees" })[unit] || unit;

/* One line, or a box of several. What nobody typed over stays as it stands in the file. */
function textField(field, place) {
  const isNumber = field.kind === "number";
  const lines = field.kind === "lines";
  const input = make(lines ? "textarea" : "input", { id: place.id, type: lines ? null : "text", rows: lines ? "3" : null, autocomplete: "off", autocapitalize: "off", spellcheck: field.name === "note", inputmode: isNumber ? "decimal" : null, dir: "auto" });
  const made = frame(field, place, input, { extra: isNumber ? [keyRow(input, KEYS_SIGN)] : [] });
  let given = "";
  let shown = "";
  const set = (value) => {
    given = input.value = value ?? "";
    shown = input.value; // a line's field leaves line breaks out
  };
  // What is to be known of the value just set, until another is typed.
  const told = make("p", { class: "read-back", "aria-live": "polite" });
  made.help.before(told);
  const note = (words) => (told.textContent = words);
  input.addEventListener("input", () => note(""));
  return { ...made, note, get: () => (input.value === shown ? given.trim() && given : input.value.trim()), set, focus: () => input.focus() };
}

function dateField(field, place) {
  const input = make("input", { id: place.id, type: "date" });
  const made = frame(field, place, input);
  return { ...made, get: () => input.value, set: (value) => (input.value = value ?? ""), focus: () => input.focus() };
}

/* A length as written: the server reads it back, so that 7'6" is seen to be 7.50 ft. */
function lengthField(field, place) {
  const input = make("input", { id: place.id, type: "text", inputmode: "decimal", autocomplete: "off", enterkeyhint: "next" });
  const readBack = make("p", { class: "read-back", "aria-live": "polite" });
  const isSmall = field.unit === "size";
  const keys = keyRow(input, isSmall ? [] : place.unit === "m" ? KEYS_M : KEYS_FT);
  const made = frame(field, place, input, { extra: [keys, readBack] });
  let due = 0;
  let asked = "";
  const tell = (words, wrong) => {
    // Not again what the fault under it says of the same text.
    const isTold = wrong && made.element.querySelector(".fault").textContent.split(";")[0] === words.split(";")[0];
    readBack.textContent = isTold ? "" : words;
    readBack.classList.toggle("wrong-words", wrong);
  };
  const read = async () => {
    const text = input.value.trim();
    if (!text || /^-?\d+(\.\d*)?$/.test(text)) return tell("", false);
    asked = text;
    try {
      const said = await ask(`/length?text=${encodeURIComponent(text)}&unit=${isSmall ? "size" : "length"}`);
      if (asked === text && input.value.trim() === text) tell(said.words ? `= ${said.words}` : said.fault, !said.words);
    } catch {
      tell("", false);
    }
  };
  input.addEventListener("input", () => {
    clearTimeout(due);
    due = setTimeout(read, 150);
  });
  return {
    ...made,
    get: () => input.value.trim(),
    set: (value) => {
      input.value = value ?? "";
      tell("", false);
      read();
    },
    focus: () => input.focus(),
  };
}

/* Keys a telephone's number pad has not; they never take the focus from the field. */
function keyRow(input, keys) {
  const put = (text) => {
    const at = input.selectionStart ?? input.value.length;
    const rest = input.value.slice(input.selectionEnd ?? at);
    if (text === "-") {
      input.value = input.value.startsWith("-") ? input.value.slice(1) : `-${input.value}`;
    } else {
      input.value = input.value.slice(0, at) + text + rest;
      input.setSelectionRange(at + text.length, at + text.length);
    }
    input.dispatchEvent(new Event("input", { bubbles: true }));
  };
  const row = make("div", { class: "keys", "aria-hidden": "true" });
  for (const [face, text] of keys) {
    const key = button(face, () => put(text), { tabindex: "-1", class: "key" });
    key.addEventListener("pointerdown", (event) => event.preventDefault());
    row.append(key);
  }
  // The row goes only after the tap that ends the typing: nothing may move under a finger.
  let due = 0;
  input.addEventListener("focus", () => {
    clearTimeout(due);
    row.closest(".field").classList.add("typing");
  });
  input.addEventListener("blur", () => {
    due = setTimeout(() => row.closest(".field")?.classList.remove("typing"), 400);
  });
  return row;
}

function angleField(field, place) {
  const input = make("input", { id: place.id, type: "text", inputmode: "decimal", autocomplete: "off" });
  const picks = field.choices.map((value) =>
    button(Number(value) < 0 ? `${value.slice(1)}° left` : `${value}° right`, () => {
      input.value = value;
      input.dispatchEvent(new Event("input", { bubbles: true }));
    }, { class: "chip small" }),
  );
  const extra = [keyRow(input, KEYS_SIGN)];
  if (picks.length) extra.push(make("div", { class: "chips picks", role: "group", "aria-label": "Usual fittings" }, picks));
  const made = frame(field, place, input, { extra });
  return { ...made, get: () => input.value.trim(), set: (value) => (input.value = value ?? ""), focus: () => input.focus() };
}

/* One of a few words: buttons to press; pressed again it is nothing. */
function choiceField(field, place) {
  const group = make("div", { class: "choices", role: "group", "aria-labelledby": `${place.id}-label` });
  const own = field.free ? make("input", { id: place.id, type: "text", placeholder: "or in your own words", "aria-label": `${field.label}, in your own words`, autocomplete: "off", dir: "auto" }) : null;
  let value = "";
  const show = () => {
    for (const chip of group.querySelectorAll("button")) chip.setAttribute("aria-pressed", String(chip.value === value));
    if (own) own.value = field.choices.includes(value) ? "" : value;
  };
  for (const choice of field.choices) {
    group.append(button(FACES[choice] || choice, () => {
      value = value === choice && !field.required ? "" : choice;
      show();
      group.dispatchEvent(new Event("input", { bubbles: true }));
    }, { class: "chip", value: choice }));
  }
  if (own) {
    group.append(own);
    own.addEventListener("input", () => {
      value = own.value.trim();
      for (const chip of group.querySelectorAll("button")) chip.setAttribute("aria-pressed", "false");
    });
  }
  const made = frame(field, place, group, { grouped: true });
  show();
  return {
    ...made,
    get: () => value,
    set: (given) => {
      value = given ?? "";
      show();
    },
    focus: () => group.querySelector("button, input").focus(),
  };
}

function flagField(field, place) {
  const input = make("input", { id: place.id, type: "checkbox" });
  const made = frame(field, place, input);
  return { ...made, get: () => (input.checked ? "yes" : "no"), set: (value) => (input.checked = value === "yes"), focus: () => input.focus() };
}

/* A named point or line of the plan. A name the plan has not is kept and shown as such. */
function nameField(field, place) {
  const names = place.context.names[field.kind === "point" ? "points" : "lines"];
  const select = make("select", { id: place.id }, make("option", { value: "", text: "–" }), ...names.map((name) => make("option", { value: name, text: name })));
  const made = frame(field, place, select);
  return {
    ...made,
    get: () => select.value,
    set: (value) => {
      if (value && ![...select.options].some((option) => option.value === value)) {
        select.append(make("option", { value, text: `${value} (not on the plan)` }));
      }
      select.value = value ?? "";
    },
    focus: () => select.focus(),
  };
}

/** Bring a form into view on a telephone, where the map is above it. */
export function reveal(element) {
  if (isNarrow()) element.scrollIntoView({ block: "start", behavior: pace() });
}
