"use strict";
/* Pieces of the page, made as nodes: nothing that stands in the lot is ever read as HTML. */
const pieces = (() => {
  const WIDTH = 200;
  const HEIGHT = 16;
  const HALF_MARK = 6;
  const FORMS = {
    "conform": "M-4 0a4 4 0 1 0 8 0a4 4 0 1 0-8 0z",
    "not conform": "M0-6l6 6-6 6-6-6z",
    "not decided": "M-4-4h8v8h-8z",
  };

  function filled(made, attributes, inside) {
    for (const [key, value] of Object.entries(attributes)) {
      made.setAttribute(key, value);
    }
    made.append(...inside);
    return made;
  }

  function element(name, attributes, ...inside) {
    return filled(document.createElement(name), attributes, inside);
  }

  function drawn(name, attributes, ...inside) {
    return filled(document.createElementNS("http://www.w3.org/2000/svg", name), attributes, inside);
  }

  /* With the sign that screen readers say. */
  const number = (text) => text.replace("-", "\u2212");

  const classOf = (verdict) => verdict.replace(" ", "-");

  /* The form of a verdict, with its words. */
  function mark(verdict, said) {
    const path = drawn("path", { class: classOf(verdict), d: FORMS[verdict] });
    const svg = drawn("svg", { viewBox: "-7 -7 14 14", "aria-hidden": "true" }, path);
    return element("span", { class: "mark" }, svg, ` ${said}`);
  }

  /* A value with two standard uncertainties either way, against its limits. */
  function against(column, cents, uncertainty, verdict) {
    const at = (value) => WIDTH * (value - column.from) / (column.to - column.from);
    const within = (x, edge) => Math.min(Math.max(x, edge), WIDTH - edge);
    const left = column.lower === null ? 0 : at(column.lower);
    const right = column.upper === null ? WIDTH : at(column.upper);
    const [target, middle, half] = [at(column.target), HEIGHT / 2, 2 * uncertainty];
    return drawn("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, "aria-hidden": "true" },
      drawn("rect", { class: "part", x: left, y: 2, width: right - left, height: HEIGHT - 4 }),
      drawn("line", { class: "target", x1: target, x2: target, y1: 2, y2: HEIGHT - 2 }),
      drawn("path", {
        d: `M${within(at(cents - half), 0)} ${middle}H${within(at(cents + half), 0)}`,
      }),
      drawn("path", {
        class: classOf(verdict),
        d: FORMS[verdict],
        transform: `translate(${within(at(cents), HALF_MARK)} ${middle})`,
      }));
  }

  /* A value in words, and drawn where it was measured. */
  function valueLine(column, [cents, uncertainty, verdict], said) {
    const known = uncertainty ? `, u ${uncertainty}` : ", u not known";
    const text = [`${column.string}: `, cents === "" ? "no value" : number(cents) + known];
    if (verdict) {
      text.push(`, ${said[verdict]}`);
    }
    const line = element("li", {}, element("span", {}, text.join("")));
    if (cents !== "") {
      line.append(against(column, Number(cents), Number(uncertainty), verdict || "conform"));
    }
    return line;
  }

  function capital(text) {
    return `${text[0].toUpperCase()}${text.slice(1)}`;
  }

  return { element, mark, number, valueLine, capital };
})();
