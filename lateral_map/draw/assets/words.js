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
    byId("site-line").textContent = site.line;
    byId("facts").replaceChildren(...facts.map(fact));
    byId("notices").replaceChildren(...notices.map((text) => element("li", { text, dir: "ltr" })));
    byId("notices").parentElement.hidden = notices.length === 0;
    byId("cautions").replaceChildren(...cautions.map((text) => element("li", { text })));
    byId("method").textContent = method;
    writeTables(page, tables);
    lateralMap.closeDetail();
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
    byId("detail-note").textContent = note;
    byId("detail-note").hidden = !note;
    byId("detail").hidden = false;
  };

  /** Put the detail away. */
  lateralMap.closeDetail = function () {
    byId("detail").hidden = true;
  };
})();
