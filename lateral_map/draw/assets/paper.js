"use strict";

/* On paper: the first page answers, so the map takes the height that its words leave. */
(function () {
  /** Lay the page out for paper before it is printed, and as it was afterwards. */
  lateralMap.watchPaper = function (page) {
    const { map } = page;
    const root = document.documentElement;
    const key = document.getElementById("key");
    const answer = document.querySelector(".answer");
    const footer = document.querySelector("footer");
    let before = null;
    /* A page printed from a telephone is measured as paper, not as a narrow screen. */
    function narrowRules() {
      const rules = [...document.styleSheets].flatMap((sheet) => [...sheet.cssRules]);
      return rules.filter((rule) => rule instanceof CSSMediaRule && rule.media.mediaText.includes("max-width"));
    }
    /* The first page holds 253 mm at 96 pixels to the inch, on letter as on A4. */
    function answerIsLong() {
      return answer !== null && answer.offsetHeight > (253 / 25.4) * 96 + 2;
    }
    function lay() {
      if (before) return;
      before = { middle: map.getCenter(), zoom: map.getZoom(), moved: page.moved, turn: page.plane.turnDeg, key: key.open };
      // The sheet's own layout comes after this event: the map must have its size on paper now.
      root.classList.add("paper");
      before.narrow = narrowRules().map((rule) => [rule, rule.media.mediaText]);
      for (const [rule] of before.narrow) rule.media.mediaText = "not all";
      key.open = true;
      // At the end of the tables it would take a page of its own where they fill theirs.
      if (answer) document.querySelector("#tables .table")?.after(footer);
      for (const closer of ["crowded", "overfull"]) if (answerIsLong()) root.classList.add(closer);
      // What goes over the page leaves its room to the map.
      if (answer && root.classList.contains("overfull")) answer.style.minHeight = `calc(253mm + ${key.offsetHeight}px)`;
      map.invalidateSize({ animate: false });
      page.fit();
    }
    function restore() {
      if (!before) return;
      root.classList.remove("paper", "crowded", "overfull");
      if (answer) {
        answer.style.minHeight = "";
        document.getElementById("tables").after(footer);
      }
      for (const [rule, text] of before.narrow) rule.media.mediaText = text;
      key.open = before.key;
      map.invalidateSize({ animate: false });
      if (before.moved) {
        page.turnTo(before.turn);
        map.setView(before.middle, before.zoom, { animate: false });
      } else page.fit();
      page.moved = before.moved;
      before = null;
    }
    window.addEventListener("beforeprint", lay);
    window.addEventListener("afterprint", restore);
    window.matchMedia("print").addEventListener("change", (event) => (event.matches ? lay() : restore()));
  };
})();
