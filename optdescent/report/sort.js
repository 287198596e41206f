"use strict";
/* Tables sort by the heading that is pressed: numbers by what they are, words by the alphabet, blanks last. */
(function () {
  const told = document.getElementById("told");
  const value = (row, place) => {
    const cell = row.cells[place];
    const number = cell.dataset.value;
    return number === undefined ? cell.textContent.trim() : Number(number);
  };
  const compare = (one, other) => {
    if (typeof one !== typeof other) return typeof one === "number" ? -1 : 1;
    return typeof one === "number" ? one - other : one.localeCompare(other, undefined, { numeric: true });
  };
  const sort = (table, heading) => {
    const isDown = heading.getAttribute("aria-sort") === "ascending";
    const place = heading.cellIndex;
    const body = table.tBodies[0];
    const rows = Array.from(body.rows, (row) => [value(row, place), row]);
    const known = rows.filter(([own]) => own !== "");
    const blank = rows.filter(([own]) => own === "");
    known.sort(([one], [other]) => (isDown ? compare(other, one) : compare(one, other)));
    for (const [, row] of known.concat(blank)) body.append(row);
    for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
    heading.setAttribute("aria-sort", isDown ? "descending" : "ascending");
    told.textContent = `${table.caption.textContent}: sorted by ${heading.textContent}, ` +
      (isDown ? "largest first" : "smallest first");
  };
  for (const table of document.querySelectorAll("table.sortable")) {
    for (const heading of table.tHead.rows[0].cells) {
      const button = document.createElement("button");
      button.type = "button";
      button.append(...heading.childNodes);
      heading.append(button);
      button.addEventListener("click", () => sort(table, heading));
    }
  }
  /* Paper has no folds. */
  const folds = Array.from(document.querySelectorAll("details"));
  let opened = [];
  addEventListener("beforeprint", () => {
    opened = folds.filter((fold) => !fold.open);
    for (const fold of opened) fold.open = true;
  });
  addEventListener("afterprint", () => {
    for (const fold of opened) fold.open = false;
  });
})();
