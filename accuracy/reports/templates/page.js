"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);

  const make = (tag, text) => {
    const element = document.createElement(tag);
    if (text !== undefined) element.textContent = text;
    return element;
  };

  const number = (text) => {
    const value = parseFloat(text.replace("\u2212", "-"));
    return Number.isNaN(value) ? null : value;
  };

  const compare = (a, b, numeric, turn) => {
    if (!numeric) return turn * a.localeCompare(b, "en", { numeric: true });
    const [x, y] = [number(a), number(b)];
    if (x === null || y === null) return (x === null) - (y === null); // missing values last, both ways
    return turn * (x - y);
  };

  /** Make the heads of a table sort it. */
  const sortable = (table) => {
    const body = table.tBodies[0];
    const first = [...body.rows];
    [...table.tHead.rows[0].cells].forEach((head, column) => {
      const button = make("button", head.textContent);
      button.type = "button";
      head.replaceChildren(button);
      button.addEventListener("click", () => {
        const next = { none: "ascending", ascending: "descending", descending: "none" };
        const order = next[head.getAttribute("aria-sort") || "none"];
        for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
        const rows = [...first];
        if (order !== "none") {
          head.setAttribute("aria-sort", order);
          const turn = order === "ascending" ? 1 : -1;
          const numeric = head.hasAttribute("data-number");
          rows.sort((a, b) =>
            compare(a.cells[column].textContent, b.cells[column].textContent, numeric, turn));
        }
        body.append(...rows);
      });
    });
  };

  /** Show the rows that fit, fade the marks of the others. */
  const filterable = (form, table, marks) => {
    const rows = [...table.tBodies[0].rows];
    const told = form.querySelector("output");
    const apply = () => {
      const text = form.elements.text.value.trim().toLowerCase();
      const from = parseFloat(form.elements.from.value);
      let shown = 0;
      for (const row of rows) {
        const cells = [...row.cells].map((cell) => cell.textContent);
        const sizes = [...row.querySelectorAll(".d")].map((cell) => number(cell.textContent))
          .filter((value) => value !== null).map(Math.abs);
        const fits =
          (!text || cells[0].toLowerCase().includes(text) || cells.at(-1).toLowerCase().includes(text)) &&
          (!form.elements.cover.value || cells[1] === form.elements.cover.value) &&
          (!form.elements.state.value || cells[2] === form.elements.state.value) &&
          (Number.isNaN(from) || sizes.some((size) => size >= from));
        row.hidden = !fits;
        shown += fits;
        marks.get(row.dataset.key)?.classList.toggle("faded", !fits);
      }
      told.textContent = `${shown} of ${rows.length} shown`;
    };
    form.hidden = false;
    form.addEventListener("input", apply);
    form.addEventListener("reset", () => setTimeout(apply));
    form.addEventListener("submit", (event) => event.preventDefault());
    apply();
  };

  /** Read the pictures when the first is asked for: there may be megabytes of them. */
  let kept = null;
  const pictures = (name, key) => {
    const block = document.getElementById("pictures");
    if (block === null) return [];
    kept ??= JSON.parse(block.textContent);
    const its = kept.shown[name]?.[key] ?? {};
    const found = [];
    for (const [kind, told] of [["evidence", "Profiles and plan"], ["photograph", its.about]]) {
      const file = its[kind];
      if (!file) continue;
      const figure = make("figure");
      const content = kept.embedded[file];
      if (content === undefined) { // too many to be carried along: a file beside the page
        const link = make("a", file);
        link.href = file;
        figure.append(link);
      } else {
        const image = make("img");
        image.alt = told;
        image.src = file.endsWith(".svg")
          ? "data:image/svg+xml;charset=utf-8," + encodeURIComponent(content)
          : "data:image/jpeg;base64," + content;
        figure.append(image);
      }
      figure.append(make("figcaption", told));
      found.push(figure);
    }
    return found;
  };

  for (const section of document.querySelectorAll("section.dataset")) {
    const name = section.dataset.dataset;
    const its = data[name];
    const plan = section.querySelector(".plan");
    const tip = section.querySelector(".tip");
    const panel = section.querySelector("div.panel");
    const home = panel.nextElementSibling;
    const marks = new Map([...section.querySelectorAll(".mark")].map((mark) => [mark.dataset.key, mark]));
    const rows = new Map(
      [...document.querySelectorAll(`tr[id^="${name}-p"]`)].map((row) => [row.dataset.key, row]));

    let chosen = null;
    const choose = (key, scroll) => {
      for (const element of [marks.get(chosen), rows.get(chosen)]) {
        element?.classList.remove("chosen");
        element?.removeAttribute("aria-current");
      }
      chosen = key;
      for (const element of [marks.get(key), rows.get(key)]) {
        element?.classList.add("chosen");
        element?.setAttribute("aria-current", "true");
      }
      const list = make("dl");
      its.fields.forEach((field, i) => {
        const value = its.points[key][i];
        if (value === null) return;
        const pair = make("div");
        pair.append(make("dt", field), make("dd", value));
        list.append(pair);
      });
      panel.replaceChildren(make("h4", its.ids[key]), list, ...pictures(name, key));
      const row = rows.get(key);
      if (row && !section.contains(row)) row.closest(".scroll").after(panel);
      else home.before(panel);
      panel.hidden = false;
      if (scroll) { // inside the table's own box only: the page stays where it is
        const box = row?.closest(".rows");
        if (box) box.scrollTop += row.getBoundingClientRect().top - box.getBoundingClientRect().top - box.clientHeight / 2;
      }
    };

    const order = [...marks.keys()];
    let settled = null;
    const settle = (key) => {
      marks.get(settled)?.setAttribute("tabindex", "-1");
      marks.get(key)?.setAttribute("tabindex", "0");
      settled = key;
    };
    const show = (mark) => {
      const [a, b] = [mark.querySelector(".halo").getBoundingClientRect(), plan.getBoundingClientRect()];
      tip.textContent = mark.getAttribute("aria-label");
      tip.hidden = false;
      const left = Math.max(0, Math.min(a.left - b.left, b.width - tip.offsetWidth));
      tip.style.left = `${left}px`;
      tip.style.top = `${a.bottom - b.top + 6}px`;
    };
    const hide = () => {
      tip.hidden = true;
      hovered?.classList.remove("near");
      hovered = null;
    };
    let hovered = null;

    /** The mark nearest to the pointer, so that a finger need not hit it and crowded marks can be told apart. */
    const drawing = section.querySelector(".plan > svg");
    const spots = [...marks.values()].map((mark) => {
      const { e, f } = mark.transform.baseVal[0].matrix;
      return [mark, e, f];
    });
    const nearest = (event) => {
      const onScreen = drawing.getScreenCTM();
      const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(onScreen.inverse());
      let [best, least] = [null, (24 / onScreen.a) ** 2];
      for (const [mark, x, y] of spots) {
        const apart = (x - at.x) ** 2 + (y - at.y) ** 2;
        if (apart < least) [best, least] = [mark, apart];
      }
      return best;
    };
    drawing?.addEventListener("pointermove", (event) => {
      const mark = nearest(event);
      if (mark === hovered) return;
      hide();
      hovered = mark;
      if (mark) {
        mark.classList.add("near");
        show(mark);
      }
    });
    drawing?.addEventListener("pointerleave", hide);
    drawing?.addEventListener("click", (event) => {
      event.preventDefault();
      const mark = nearest(event);
      if (!mark) return;
      settle(mark.dataset.key);
      choose(mark.dataset.key, true);
      mark.focus({ preventScroll: true });
    });

    marks.forEach((mark, key) => {
      mark.setAttribute("tabindex", "-1");
      const title = mark.querySelector("title");
      mark.setAttribute("aria-label", title.textContent);
      title.remove();
      mark.addEventListener("focus", () => show(mark));
      mark.addEventListener("blur", hide);
      mark.addEventListener("keydown", (event) => {
        const place = order.indexOf(key);
        const step = { ArrowRight: place + 1, ArrowDown: place + 1, ArrowLeft: place - 1, ArrowUp: place - 1,
          Home: 0, End: order.length - 1 }[event.key];
        if (event.key === "Escape") hide();
        if (event.key === " " || event.key === "Enter") {
          event.preventDefault();
          choose(key, true);
        }
        if (step === undefined) return;
        event.preventDefault();
        const next = order[Math.max(0, Math.min(order.length - 1, step))];
        settle(next);
        marks.get(next).focus();
      });
    });
    if (order.length) settle(order[0]);

    rows.forEach((row, key) => {
      row.addEventListener("click", (event) => {
        if (event.target.closest("a")) event.preventDefault();
        choose(key, false);
      });
    });
    for (const table of section.querySelectorAll("table.points")) {
      sortable(table);
      const form = section.querySelector("form.tools");
      if (form) filterable(form, table, marks);
    }
  }

  let closed = [];
  addEventListener("beforeprint", () => {
    closed = [...document.querySelectorAll("details:not([open])")];
    for (const element of closed) element.open = true;
  });
  addEventListener("afterprint", () => { for (const element of closed) element.open = false; });
})();
