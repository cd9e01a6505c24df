"use strict";

/* Everything in words: head, notices, the picked detail, tables, cautions. */
(function () {
  const { element } = lateralMap;
  const byId = (id) => document.getElementById(id);

  /** Write the page's words anew from the data. */
  lateralMap.writeWords = function (page) {
    const { site, facts, notices, cautions, method, tables } = page.data;
    document.title = `${site.name} – located lateral`;
    byId("site-name").textContent = site.name;
    byId("site-name").parentElement.classList.toggle("long", site.name.length > 40);
    byId("site-line").textContent = site.line;
    byId("facts").replaceChildren(...facts.map(fact));
    byId("notices").replaceChildren(...notices.map((text) => element("li", { text, dir: "ltr" })));
    byId("notices").parentElement.hidden = notices.length === 0;
    byId("cautions").replaceChildren(...cautions.map((text) => element("li", { text })));
    byId("method").textContent = method;
    for (const part of document.querySelectorAll("header, .notices, .first, .review")) lateralMap.keepWhole(part);
    writeTables(page, tables);
    lateralMap.closeDetail();
  };

  // A percentage, a range, a length: none is parted over two lines, from its sign or from its unit.
  const WHOLE = /[<>] [\d.]+ %|[-−]?[\d.]+ %|(?:[-−]?[\d.]+ )?± [\d.]+(?: (?:ft|m|in)\b| %)?|\d+ ft \d+(?: \d+\/\d+)? in\b|[-−]?\d[\d.,]*(?: \d+\/\d+)? (?:ft|m|in|mm)\b/g;
  const LONG_WORD = /\S{17}/;

  /** Keep every figure of a part of the page on one line; only a cell with a very long word may part words. */
  lateralMap.keepWhole = function (part) {
    for (const cell of part.querySelectorAll("td")) cell.classList.toggle("long", LONG_WORD.test(cell.textContent));
    const walk = document.createTreeWalker(part, NodeFilter.SHOW_TEXT);
    const parted = [];
    while (walk.nextNode()) {
      const { data, parentElement: within } = walk.currentNode;
      if (data.search(WHOLE) >= 0 && !within.closest("svg, .whole, h1")) parted.push(walk.currentNode);
    }
    for (const node of parted) {
      const figures = node.data.match(WHOLE).map((text) => element("span", { class: "whole", text }));
      node.replaceWith(...node.data.split(WHOLE).flatMap((text, index) => (index ? [figures[index - 1], text] : [text])));
    }
  };

  const LATER_MS = 500;

  /* Tables in a fold that is shut are made when it is opened, or a while after what is in view was drawn. */
  function writeTables(page, tables) {
    const holder = byId("tables");
    const fold = holder.closest("details");
    const make = () => {
      if (page.tablesDue !== make) return;
      page.tablesDue = null;
      holder.replaceChildren(...tables.map((table) => tableOf(page, table)));
      lateralMap.keepWhole(holder);
    };
    page.tablesDue = make;
    if (!fold || fold.open) return make();
    fold.ontoggle = () => page.tablesDue?.();
    setTimeout(make, LATER_MS);
  }

  function fact({ name, value, note, tone }) {
    const parts = [element("dt", { text: name, dir: "ltr" }), element("dd", { text: value })];
    if (note) parts.push(element("dd", { class: "note", text: note, dir: "ltr" }));
    return element("div", { class: tone }, ...parts);
  }

  function tableOf(page, table) {
    const head = element("tr", {}, ...table.columns.map((text) => element("th", { scope: "col", text })));
    const rows = table.rows.map((row) => {
      const cells = row.cells.map((text, index) => {
        const column = table.columns[index];
        if (index > 0 || row.footage === null) return element("td", { text, dir: "ltr", "data-column": column });
        const show = element("button", { type: "button", text, dir: "ltr", title: "Show on map and profile" });
        show.addEventListener("click", () => {
          page.point(page.stationAt(row.footage), "table");
          byId("plan").scrollIntoView({ block: "nearest" });
        });
        return element("td", { "data-column": column }, show);
      });
      return element("tr", { class: row.alarm ? "alarm" : null }, ...cells);
    });
    return element(
      "section",
      { class: "table", "data-table": table.key },
      element("h2", { text: table.title }),
      rows.length ? element("div", { class: "scroll" }, element("table", {}, element("thead", {}, head), element("tbody", {}, ...rows))) : "",
      ...table.notes.map((text) => element("p", { class: "under", text, dir: "ltr" })),
    );
  }

  /** Show the detail of what was picked. */
  lateralMap.openDetail = function (page, index) {
    const { title, rows, note } = page.data.details[index];
    byId("detail-title").textContent = title;
    byId("detail-rows").replaceChildren(
      ...rows.flatMap(([name, value]) => [element("dt", { text: name, dir: "ltr" }), element("dd", { text: value, dir: "ltr" })]),
    );
    lateralMap.keepWhole(byId("detail-rows"));
    byId("detail-note").textContent = note;
    byId("detail-note").hidden = !note;
    byId("detail").hidden = false;
  };

  /** Put the detail away. */
  lateralMap.closeDetail = function () {
    byId("detail").hidden = true;
  };
})();
