// What a board's picture gains from a script: it is dragged and seen closer by mouse, touch and keyboard, and spots are
// pointed out on it. Without one, links beside it do the first, and a picture that sends where it was pressed the second.
(() => {
  "use strict";

  const LABEL = 16; // pixels on the screen
  const CLICK = { mouse: 5, touch: 12, pen: 8 }; // a press that moves no further than this is no drag
  const WIDE = 1000; // pixels on the screen: on fewer, fewer labels have room
  const NEAR = 3; // seen so many times closer, the picture has more to show than its usual view
  const STRIDE = 0.25, FINE_STRIDE = 0.01; // of what is seen
  const EDGE = 0.88; // of the width: beyond it, labels stand to the left
  const SVG = "http://www.w3.org/2000/svg";

  // A cross at the middle of what is seen, light under dark.
  const aimIn = (svg) => {
    const aim = document.createElementNS(SVG, "svg");
    aim.setAttribute("class", "aim");
    aim.setAttribute("overflow", "visible");
    for (const name of ["under", ""]) {
      for (const [x1, y1, x2, y2] of [["-1em", 0, "1em", 0], [0, "-1em", 0, "1em"]]) {
        const line = document.createElementNS(SVG, "line");
        Object.entries({ class: name, x1, y1, x2, y2 }).forEach(([key, value]) => line.setAttribute(key, value));
        aim.append(line);
      }
    }
    svg.append(aim);
    return aim;
  };

  const open = (svg) => {
    const [wholeWidth, wholeHeight] = svg.dataset.whole.split(" ").map(Number);
    const least = wholeWidth / Number(svg.dataset.most);
    const marks = [...svg.querySelectorAll(".mark")].map((mark) => {
      const label = mark.querySelector("text");
      const aside = label.getAttribute("x").replace("-", "");
      return { x: Number(mark.getAttribute("x")), y: Number(mark.getAttribute("y")), label, aside, end: label.getAttribute("text-anchor") };
    });
    const image = svg.querySelector("image");
    const aim = svg.dataset.column === undefined ? null : aimIn(svg);
    let box = svg.getAttribute("viewBox").split(" ").map(Number);

    const show = (x, y, width) => {
      width = Math.min(Math.max(width, least), wholeWidth);
      const height = width * wholeHeight / wholeWidth;
      x = Math.min(Math.max(x, 0), wholeWidth - width);
      y = Math.min(Math.max(y, 0), wholeHeight - height);
      box = [x, y, width, height];
      svg.setAttribute("viewBox", box.join(" "));
      const scale = Math.min(svg.clientWidth / width, svg.clientHeight / height) || 1;
      svg.setAttribute("font-size", LABEL / scale);
      const seen = marks.filter((mark) => mark.x >= x && mark.x <= x + width && mark.y >= y && mark.y <= y + height);
      svg.classList.toggle("crowded", seen.length > Number(svg.dataset.crowd) * Math.min(1, svg.clientWidth / WIDE));
      if (image.dataset.fine && width < wholeWidth / NEAR) {
        image.setAttribute("href", image.dataset.fine);
        delete image.dataset.fine;
      }
      seen.forEach((mark) => turnLabel(mark, mark.x > x + EDGE * width ? "end" : "start"));
      aim?.setAttribute("x", x + width / 2);
      aim?.setAttribute("y", y + height / 2);
      // Seen whole there is nothing to drag: one finger moves the page.
      svg.classList.toggle("whole", width > wholeWidth * 0.999);
    };
    const turnLabel = (mark, end) => {
      if (mark.end === end) return;
      mark.end = end;
      mark.label.setAttribute("text-anchor", end);
      mark.label.setAttribute("x", (end === "end" ? "-" : "") + mark.aside);
    };
    const zoom = (times, x = box[0] + box[2] / 2, y = box[1] + box[3] / 2) => {
      const width = Math.min(Math.max(box[2] / times, least), wholeWidth);
      const share = width / box[2];
      show(x - (x - box[0]) * share, y - (y - box[1]) * share, width);
    };
    const move = (across, down) => show(box[0] + across * box[2], box[1] + down * box[3], box[2]);
    const place = (event, of = svg) =>
      new DOMPoint(event.clientX, event.clientY).matrixTransform(of.getScreenCTM().inverse());

    const acts = {
      closer: () => zoom(2), further: () => zoom(0.5), whole: () => show(0, 0, wholeWidth),
      left: (far) => move(-far, 0), right: (far) => move(far, 0), up: (far) => move(0, -far), down: (far) => move(0, far),
    };
    const keys = {
      "+": "closer", "=": "closer", "-": "further", "0": "whole",
      ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down",
    };
    for (const link of svg.closest("figure").querySelectorAll("[data-act]")) {
      link.addEventListener("click", (event) => {
        event.preventDefault();
        acts[link.dataset.act](STRIDE);
      });
    }
    svg.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      if (keys[event.key]) {
        event.preventDefault();
        acts[keys[event.key]](event.shiftKey ? FINE_STRIDE : STRIDE);
      } else if (event.key === "Enter" && svg.dataset.column !== undefined && event.target === svg) {
        event.preventDefault();
        const { left, top, width, height } = svg.getBoundingClientRect();
        point(svg, { clientX: left + width / 2 - 0.5, clientY: top + height / 2 - 0.5 });
      }
    });
    // The wheel is the page's until the picture has been taken hold of.
    svg.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && !svg.contains(document.activeElement)) return;
      event.preventDefault();
      const { x, y } = place(event);
      zoom(2 ** (-Math.sign(event.deltaY) / 2), x, y);
    }, { passive: false });

    const fingers = new Map();
    let dragged = false;
    svg.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      if (event.isPrimary) fingers.clear();
      fingers.set(event.pointerId, event);
      if (fingers.size === 1) dragged = false;
    });
    svg.addEventListener("pointermove", (event) => {
      const before = fingers.get(event.pointerId);
      if (!before) return;
      if (event.buttons === 0) { // it was let go outside
        lift(event);
        return;
      }
      const far = Math.hypot(event.clientX - before.clientX, event.clientY - before.clientY);
      if (!dragged && fingers.size === 1 && far < (CLICK[event.pointerType] ?? CLICK.mouse)) return;
      if (!dragged) svg.setPointerCapture(event.pointerId);
      dragged = true;
      const other = [...fingers.values()].find((finger) => finger.pointerId !== event.pointerId);
      if (other) pinch(before, event, other);
      else drag(before, event);
      fingers.set(event.pointerId, event);
    });
    const drag = (before, after) => {
      const from = place(before), to = place(after);
      show(box[0] + from.x - to.x, box[1] + from.y - to.y, box[2]);
    };
    // What lay between the two fingers goes on lying there.
    const pinch = (before, after, other) => {
      const apart = (finger) => Math.hypot(finger.clientX - other.clientX, finger.clientY - other.clientY);
      const between = (finger) => ({ clientX: (finger.clientX + other.clientX) / 2, clientY: (finger.clientY + other.clientY) / 2 });
      const middle = place(between(before));
      zoom(apart(after) / (apart(before) || 1), middle.x, middle.y);
      drag(between(before), between(after));
    };
    const lift = (event) => fingers.delete(event.pointerId);
    svg.addEventListener("pointerup", lift);
    svg.addEventListener("pointercancel", lift);
    // Two fingers are always the picture's, also where one moves the page.
    svg.addEventListener("touchmove", (event) => {
      if (event.touches.length > 1 && event.cancelable) event.preventDefault();
    }, { passive: false });
    svg.addEventListener("dragstart", (event) => event.preventDefault());
    svg.addEventListener("click", (event) => {
      if (dragged && event.detail) event.preventDefault();
      else if (svg.dataset.column !== undefined) point(svg, event);
      dragged = false;
    }, true);
    svg.classList.add("live");
    new ResizeObserver(() => show(box[0], box[1], box[2])).observe(svg);
    if (svg.dataset.column !== undefined) watch(svg);
  };

  // ---- Pointing out: the press goes into the fields of the form, where it can be corrected ----

  // The pairs of fields that hold spots on this picture, in order: x and y of a pin, or one pair a row of points.
  const pairs = (svg) => {
    const form = document.getElementById(svg.dataset.form);
    const column = svg.dataset.column;
    return [...form.querySelectorAll(`input[name$="${column}x"]`)]
      .filter((x) => x.name === `${column}x` || /^points\.\d+\./.test(x.name) && x.name.endsWith(`.${column}x`))
      .map((x) => [x, form.elements[x.name.slice(0, -1) + "y"]]);
  };

  const rowOf = (input) => Number((/^points\.(\d+)\./.exec(input.name) ?? [0, 0])[1]);

  // Of each form the row whose fields were touched last, until both pictures have been pressed for it.
  const meant = new WeakMap();

  const point = (svg, event) => {
    const group = svg.querySelector(".lies");
    // A press is told in whole pixels of the screen: what was meant is the middle of one.
    const spot = new DOMPoint(event.clientX + 0.5, event.clientY + 0.5).matrixTransform(group.getScreenCTM().inverse());
    const image = group.querySelector("image");
    const [most, lowest] = ["width", "height"].map((side) => Number(image.getAttribute(side)));
    if (spot.x < 0 || spot.y < 0 || spot.x > most || spot.y > lowest) return say(svg, "That is beside the picture.");
    const all = pairs(svg);
    const wanted = meant.get(document.getElementById(svg.dataset.form));
    const pair = all.length === 1 ? all[0]
      : all.find(([x]) => wanted?.get(svg.dataset.column) === rowOf(x)) ?? all.find(([x, y]) => !x.value.trim() && !y.value.trim());
    if (!pair) return say(svg, "Every point has a spot on this picture. Go into a point’s field to point it out anew.");
    wanted?.delete(svg.dataset.column);
    pair[0].value = spot.x.toFixed(1);
    pair[1].value = spot.y.toFixed(1);
    pair[0].dispatchEvent(new Event("input", { bubbles: true }));
    const where = `${pair[0].value} across, ${pair[1].value} down`;
    say(svg, all.length === 1 ? `Pointed out: ${where}.` : `Point ${rowOf(pair[0]) + 1}: ${where}.`);
  };

  const say = (svg, sentence) => {
    svg.closest("figure").querySelector("[role=status]").textContent = sentence;
  };

  const watch = (svg) => {
    const crosses = document.createElementNS(SVG, "g");
    svg.querySelector(".lies").append(crosses);
    const form = document.getElementById(svg.dataset.form);
    const draw = () => {
      crosses.replaceChildren();
      const all = pairs(svg);
      for (const [x, y] of all) {
        const [across, down] = [x, y].map((field) => Number.parseFloat(field.value.replace(",", ".")));
        if (Number.isFinite(across) && Number.isFinite(down)) crosses.append(cross(across, down, all.length > 1 && rowOf(x) + 1));
      }
    };
    const cross = (across, down, number) => {
      const group = document.createElementNS(SVG, "g");
      group.setAttribute("class", "cross");
      // Turned back by what its group is turned, so that the number stands upright.
      const { a, b, c, d } = svg.querySelector(".lies").transform.baseVal.consolidate()?.matrix ?? { a: 1, b: 0, c: 0, d: 1 };
      const back = new DOMMatrix([a, b, c, d, 0, 0]).inverse();
      group.setAttribute("transform", `matrix(${back.a} ${back.b} ${back.c} ${back.d} ${across} ${down})`);
      for (const [x1, y1, x2, y2] of [["-0.9em", 0, "0.9em", 0], [0, "-0.9em", 0, "0.9em"]]) {
        const line = document.createElementNS(SVG, "line");
        Object.entries({ x1, y1, x2, y2 }).forEach(([name, value]) => line.setAttribute(name, value));
        group.append(line);
      }
      if (number) {
        const words = document.createElementNS(SVG, "text");
        words.setAttribute("dx", "0.5em");
        words.setAttribute("dy", "-0.4em");
        words.textContent = number;
        group.append(words);
      }
      return group;
    };
    form.addEventListener("input", draw);
    // Whose field was touched last is the row that the next press is for.
    form.addEventListener("focusin", (event) => {
      if (!/^points\.\d+\./.test(event.target.name ?? "")) return;
      const row = rowOf(event.target);
      meant.set(form, new Map(["reference_", ""].map((column) => [column, row])));
    });
    draw();
  };

  const look = (within) => {
    for (const hidden of within.querySelectorAll(".scripted[hidden]")) hidden.hidden = false;
    for (const svg of within.querySelectorAll("svg.map:not(.live)")) open(svg);
  };
  document.addEventListener("DOMContentLoaded", () => look(document));
  // Not before it has settled: until then what is swapped in wears the attributes of what it replaces.
  document.addEventListener("htmx:afterSettle", (event) => look(event.detail.target));
})();
