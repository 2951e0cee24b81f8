"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const at = (id) => document.getElementById(id);
  const canvas = at("canvas");
  const pen = canvas.getContext("2d");
  const scenes = data.scenes;

  let operator = "";
  let place = 0; // which scene is shown
  let picks = scenes.map(() => null); // {col, row}, or "unseen"
  let past = []; // for undo: [place, picks before]
  let zoom = 1; // 1: the whole picture
  let view = { col: 0, row: 0 }; // of the picture, in the middle of the canvas
  let image = null;
  let saved = true;

  const scene = () => scenes[place];
  const side = () => Math.max(scene().cols, scene().rows);
  const scale = () => (canvas.width / side()) * zoom; // canvas pixels to one of the picture

  const draw = () => {
    if (at("work").hidden) return;
    const ratio = window.devicePixelRatio || 1;
    const box = canvas.getBoundingClientRect();
    canvas.width = Math.max(1, Math.round(box.width * ratio));
    canvas.height = Math.max(1, Math.round(box.height * ratio));
    const k = scale();
    const left = canvas.width / 2 - view.col * k;
    const top = canvas.height / 2 - view.row * k;
    pen.imageSmoothingEnabled = false;
    pen.fillStyle = "#000";
    pen.fillRect(0, 0, canvas.width, canvas.height);
    if (image.complete) pen.drawImage(image, left, top, scene().cols * k, scene().rows * k);
    const pick = picks[place];
    if (pick && pick !== "unseen") {
      const [x, y] = [left + pick.col * k, top + pick.row * k];
      for (const [colour, width] of [["#000", 5], ["#ffe838", 2]]) {
        pen.strokeStyle = colour;
        pen.lineWidth = width * ratio;
        pen.beginPath();
        for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) { // open in the middle: the centre is seen
          pen.moveTo(x + dx * 6 * ratio, y + dy * 6 * ratio);
          pen.lineTo(x + dx * 26 * ratio, y + dy * 26 * ratio);
        }
        pen.stroke();
      }
    }
    tell();
  };

  const tell = () => {
    const its = scene();
    const all = scenes.filter((one) => one.pass === its.pass).length;
    const nth = scenes.slice(0, place + 1).filter((one) => one.pass === its.pass).length;
    at("where").textContent =
      `Pass ${its.pass} of ${data.passes}: ${nth} of ${all}, ${its.shown} in ${its.source} (${its.kind})`;
    const pick = picks[place];
    at("told").textContent =
      pick === "unseen" ? "Not identifiable."
      : pick ? `Mark at column ${pick.col.toFixed(2)}, row ${pick.row.toFixed(2)} of the picture.`
      : "Click the centre of the target.";
    at("next").disabled = pick === null;
    at("undo").disabled = past.length === 0;
  };

  const show = (next) => {
    place = next;
    zoom = 1;
    view = { col: scene().cols / 2, row: scene().rows / 2 };
    image = new Image();
    image.onload = draw;
    image.src = "data:image/png;base64," + scene().png;
    draw();
  };

  const remember = () => {
    past.push([place, picks.slice()]);
    saved = false;
  };

  const set = (pick) => {
    remember();
    picks[place] = pick;
    draw();
  };

  const finish = () => {
    at("work").hidden = true;
    at("done").hidden = false;
    const unseen = picks.filter((pick) => pick === "unseen").length;
    at("where").textContent = "All pictures are judged.";
    at("summary").textContent =
      `${operator}: ${picks.length - unseen} centres picked, ${unseen} not identifiable.`;
    const content = {
      format: data.format,
      format_version: 1,
      title: data.title,
      operator,
      saved: new Date().toISOString(),
      systems: data.systems,
      picks: scenes.map((one, i) => ({
        id: one.id,
        source: one.source,
        kind: one.kind,
        pass: one.pass,
        state: picks[i] === "unseen" ? "not-identifiable" : "picked",
        ...(picks[i] === "unseen" ? {} : picks[i]),
        transform: one.transform,
        metres: one.metres,
      })),
    };
    const link = at("save");
    link.download = "picks.json";
    link.href = URL.createObjectURL(
      new Blob([JSON.stringify(content, null, 1)], { type: "application/json" }));
    link.onclick = () => { saved = true; };
    link.focus();
  };

  const next = () => {
    if (picks[place] === null) return;
    const open = picks.indexOf(null);
    if (place + 1 < scenes.length && (open === -1 || open > place)) {
      past.push([place, picks.slice()]);
      show(place + 1);
    } else if (open !== -1) show(open);
    else finish();
  };

  const unseen = () => { set("unseen"); next(); };

  const undo = () => {
    const last = past.pop();
    if (last === undefined) return;
    picks = last[1];
    if (last[0] !== place) show(last[0]);
    else draw();
  };

  const closer = (factor, around) => {
    const centre = around || (picks[place] && picks[place] !== "unseen" ? picks[place] : view);
    const before = zoom;
    zoom = Math.min(32, Math.max(1, zoom * factor));
    const share = 1 - before / zoom; // what was under the pointer stays there
    view = {
      col: view.col + (centre.col - view.col) * share,
      row: view.row + (centre.row - view.row) * share,
    };
    if (zoom === 1) view = { col: scene().cols / 2, row: scene().rows / 2 };
    draw();
  };

  const spot = (event) => {
    const box = canvas.getBoundingClientRect();
    const ratio = canvas.width / box.width;
    return {
      col: view.col + ((event.clientX - box.left) * ratio - canvas.width / 2) / scale(),
      row: view.row + ((event.clientY - box.top) * ratio - canvas.height / 2) / scale(),
    };
  };

  let drag = null;
  canvas.addEventListener("pointerdown", (event) => {
    drag = { x: event.clientX, y: event.clientY, view: { ...view }, moved: false };
    canvas.setPointerCapture(event.pointerId);
  });
  canvas.addEventListener("pointermove", (event) => {
    if (drag === null) return;
    const [dx, dy] = [event.clientX - drag.x, event.clientY - drag.y];
    if (Math.hypot(dx, dy) > 4) drag.moved = true;
    if (!drag.moved) return;
    const k = scale() / (canvas.width / canvas.getBoundingClientRect().width);
    view = { col: drag.view.col - dx / k, row: drag.view.row - dy / k };
    draw();
  });
  canvas.addEventListener("pointerup", (event) => {
    const clicked = drag !== null && !drag.moved;
    drag = null;
    if (!clicked) return;
    const { col, row } = spot(event);
    if (col >= 0 && row >= 0 && col <= scene().cols && row <= scene().rows) set({ col, row });
    canvas.focus();
  });
  canvas.addEventListener("wheel", (event) => {
    event.preventDefault();
    closer(event.deltaY < 0 ? 1.25 : 0.8, spot(event));
  }, { passive: false });

  const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  document.addEventListener("keydown", (event) => {
    if (at("work").hidden || event.ctrlKey && event.key !== "z" || event.altKey || event.metaKey) return;
    const onButton = event.target.tagName === "BUTTON";
    if (event.key in arrows) {
      event.preventDefault();
      const step = event.shiftKey ? 1 : 0.1;
      const from = picks[place] && picks[place] !== "unseen" ? picks[place] : view;
      const [dx, dy] = arrows[event.key];
      set({
        col: Math.min(scene().cols, Math.max(0, from.col + dx * step)),
        row: Math.min(scene().rows, Math.max(0, from.row + dy * step)),
      });
    } else if (event.key === "Enter" && !onButton) next();
    else if (event.key === "n" || event.key === "N") unseen();
    else if (event.key === "u" || event.key === "U" || event.key === "z") undo();
    else if (event.key === "+" || event.key === "=") closer(1.5);
    else if (event.key === "-") closer(1 / 1.5);
  });

  at("next").addEventListener("click", next);
  at("unseen").addEventListener("click", unseen);
  at("undo").addEventListener("click", undo);
  at("in").addEventListener("click", () => closer(1.5));
  at("out").addEventListener("click", () => closer(1 / 1.5));
  window.addEventListener("resize", () => { if (!at("work").hidden) draw(); });
  window.addEventListener("beforeunload", (event) => { if (!saved) event.preventDefault(); });

  at("start").addEventListener("submit", (event) => {
    event.preventDefault();
    operator = event.target.elements.operator.value.trim();
    if (!operator) return;
    at("start").hidden = true;
    at("work").hidden = false;
    show(0);
    canvas.focus();
  });
})();
