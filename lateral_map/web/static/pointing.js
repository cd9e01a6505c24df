/* Finding a point in the picture under the plan: tapped, or with the arrow keys. */

import { ask, button, byId, make, say } from "./parts.js";

const LARGER = 1.5;

/** Let a place in the picture be pointed at; resolves to { column, row } as text, or null. */
export async function pointInPicture() {
  const { src, width, height } = await ask("/picture-to-point-at");
  const dialog = byId("ask");
  let at = { x: width / 2, y: height / 2 };
  let grown = 1;
  const image = make("img", { src, alt: "The picture", draggable: "false" });
  const cross = make("div", { class: "cross", "aria-hidden": "true" });
  const words = make("p", { role: "status", class: "quiet" });
  const sheet = make("div", { class: "pointing-sheet" }, image, cross);
  const pane = make("div", { class: "pointing", tabindex: "0", role: "application", "aria-label": say("pointing_pane") }, sheet);

  const show = () => {
    sheet.style.width = `${Math.round(pane.clientWidth * grown)}px`;
    cross.style.left = `${(100 * at.x) / width}%`;
    cross.style.top = `${(100 * at.y) / height}%`;
    words.textContent = say("pointed_at", { column: Math.round(at.x), row: Math.round(at.y) });
  };
  const follow = () => cross.scrollIntoView({ block: "nearest", inline: "nearest" });
  const resize = (factor) => {
    grown = Math.min(Math.max(grown * factor, 1), 12);
    show();
    cross.scrollIntoView({ block: "center", inline: "center" });
  };
  image.addEventListener("click", (event) => {
    const box = image.getBoundingClientRect();
    at = { x: ((event.clientX - box.left) / box.width) * width, y: ((event.clientY - box.top) / box.height) * height };
    show();
  });

  return new Promise((resolve) => {
    const finish = (taken) => {
      dialog.removeEventListener("close", leave);
      dialog.close();
      dialog.replaceChildren();
      dialog.classList.remove("wide");
      resolve(taken ? { column: at.x.toFixed(1), row: at.y.toFixed(1) } : null);
    };
    const leave = () => finish(false);
    pane.addEventListener("keydown", (event) => {
      // One pixel of the screen, or twenty.
      const step = ((event.shiftKey ? 20 : 1) * width) / Math.max(image.clientWidth, 1);
      const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
      if (event.key === "Enter") finish(true);
      else if (event.key === "+" || event.key === "=") resize(LARGER);
      else if (event.key === "-") resize(1 / LARGER);
      else if (event.key in moves) {
        const [x, y] = moves[event.key];
        at = { x: Math.min(Math.max(at.x + x, 0), width), y: Math.min(Math.max(at.y + y, 0), height) };
        show();
        follow();
      } else return;
      event.preventDefault();
    });
    dialog.addEventListener("close", leave);
    dialog.replaceChildren(
      make("h2", { id: "ask-title", text: "Where is it in the picture?" }),
      make("p", { class: "by-keys quiet", text: say("how_to_point") }),
      pane, words,
      make("div", { class: "doing" }, button("Take this place", () => finish(true), { class: "primary" }), button("Larger", () => resize(LARGER), { class: "plain" }), button("Smaller", () => resize(1 / LARGER), { class: "plain" }), button("Cancel", leave, { class: "plain" })));
    dialog.classList.add("wide");
    dialog.showModal();
    show();
    pane.focus();
  });
}
