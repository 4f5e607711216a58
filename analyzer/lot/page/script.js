"use strict";
/* The table of instruments, made from the text that stands in the page. Nothing of it is ever read
   as HTML: names become text nodes, and a link is the relative one that the page was given. */
(() => {
  const PAGE_ROWS = 25;
  const LONGEST_OPTION = 40; // characters of a name in a list to choose from
  const HEADS = ["Serial number", "Station", "Operator", "Recorded", "Verdict", "Worst value",
    "Reason"];
  const SAID = { "conform": "conforms", "not conform": "does not conform" };
  const MARKS = { "conform": "M-5 0l4 4 6-8", "not conform": "M0-5l5 5-5 5-5-5z" };
  const OPEN_MARK = "M-4-4h8v8h-8z";
  const DOTS = { "": "M-4 0a4 4 0 1 0 8 0a4 4 0 1 0-8 0z", "not conform": "M0-6l6 6-6 6-6-6z" };
  const WIDTH = 200;
  const HEIGHT = 16;

  const source = document.getElementById("text");
  const live = document.getElementById("live");
  if (!source) {
    return;
  }
  const columns = JSON.parse(source.dataset.columns);
  const rows = source.textContent.split("\n").slice(1).map((line, order) => {
    const [serial, station, operator, recorded, verdict, worst, cents, way, probability, takes,
      recordings, leftOut, sessions, page, reason, ...values] = line.split("\t");
    return { order, serial, station, operator, recorded, verdict, worst, cents, way, probability,
      takes, recordings, leftOut, sessions, page, reason, values };
  });
  const state = { verdict: "", station: "", words: "", sort: -1, falling: false, first: 0 };
  const folded = new Set();
  let found = rows;

  function element(name, attributes, ...inside) {
    const made = document.createElement(name);
    for (const [key, value] of Object.entries(attributes || {})) {
      made.setAttribute(key, value);
    }
    made.append(...inside);
    return made;
  }

  function drawn(name, attributes, ...inside) {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) {
      made.setAttribute(key, value);
    }
    made.append(...inside);
    return made;
  }

  const name = (text) => element("bdi", {}, text);
  const number = (text) => text.replace("-", "\u2212");

  /* Filter and sort. */

  const collator = new Intl.Collator(undefined, { numeric: true });
  const way = (row) => (row.way === "" ? -1 : Number(row.way));
  const VERDICTS = ["not conform", "not decided", "conform"];
  const KEYS = [
    (a, b) => collator.compare(a.serial, b.serial),
    (a, b) => collator.compare(a.station, b.station),
    (a, b) => collator.compare(a.operator, b.operator),
    (a, b) => (a.recorded < b.recorded ? -1 : Number(a.recorded > b.recorded)),
    (a, b) => VERDICTS.indexOf(a.verdict) - VERDICTS.indexOf(b.verdict),
    (a, b) => way(b) - way(a),
    (a, b) => collator.compare(a.reason, b.reason),
  ];

  function searched(row) {
    row.haystack ??= [row.serial, row.station, row.operator, row.recorded, row.reason]
      .join("\n").toLowerCase();
    return row.haystack;
  }

  function choose() {
    const words = state.words.toLowerCase().split(/\s+/).filter(Boolean);
    found = rows.filter((row) => (!state.verdict || row.verdict === state.verdict)
      && (!state.station || row.station === state.station)
      && words.every((word) => searched(row).includes(word)));
    if (state.sort >= 0) {
      const way = state.falling ? -1 : 1;
      found.sort((a, b) => way * KEYS[state.sort](a, b) || a.order - b.order);
    }
    state.first = 0;
    show();
  }

  /* A value, drawn small against its limits. */

  function drawing(column, cents, uncertainty, verdict) {
    const at = (value) => WIDTH * (value - column.from) / (column.to - column.from);
    const inside = (x) => Math.min(Math.max(x, 0), WIDTH);
    const left = column.lower === null ? 0 : at(column.lower);
    const right = column.upper === null ? WIDTH : at(column.upper);
    const middle = HEIGHT / 2;
    const parts = [
      drawn("rect", { class: "part", x: left, y: 2, width: right - left, height: HEIGHT - 4 }),
      drawn("line", { class: "target", x1: at(column.target), x2: at(column.target), y1: 2,
        y2: HEIGHT - 2 }),
    ];
    const half = 2 * (uncertainty || 0);
    const x = Math.min(Math.max(at(cents), 6), WIDTH - 6);
    parts.push(drawn("path", { d: `M${inside(at(cents - half))} ${middle}`
      + `H${inside(at(cents + half))}` }));
    const kind = { "not conform": "bad", "not decided": "hollow" }[verdict] || "";
    parts.push(drawn("path", { class: kind, transform: `translate(${x} ${middle})`,
      d: DOTS[verdict] || OPEN_MARK }));
    return drawn("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, "aria-hidden": "true" }, ...parts);
  }

  function valueLine(column, [cents, uncertainty, verdict]) {
    const text = [`${column.string}: `];
    if (cents === "") {
      text.push("no value");
    } else {
      text.push(number(cents), uncertainty ? `, u ${uncertainty}` : ", u not known");
    }
    if (verdict) {
      text.push(`, ${SAID[verdict] || verdict}`);
    }
    const line = element("li", {}, element("span", {}, text.join("")));
    if (cents !== "") {
      line.append(drawing(column, Number(cents), Number(uncertainty), verdict));
    }
    return line;
  }

  function valueLists(row) {
    const lists = new Map();
    columns.forEach((column, place) => {
      const value = row.values.slice(3 * place, 3 * place + 3);
      if (value[0] === "" && value[2] === "") {
        return; // it has no such string
      }
      if (!lists.has(column.characteristic)) {
        lists.set(column.characteristic, []);
      }
      lists.get(column.characteristic).push(valueLine(column, value));
    });
    return [...lists].flatMap(([what, lines]) => [
      element("h4", {}, `${what[0].toUpperCase()}${what.slice(1)} by string, cents`),
      element("ul", { class: "values" }, ...lines),
    ]);
  }

  function probability(text) {
    const value = Number(text);
    if (value > 0 && value < 0.0001) {
      return "less than 0.0001";
    }
    return value < 1 && value > 0.9999 ? "more than 0.9999" : value.toFixed(4);
  }

  function facts(row) {
    const said = [`${row.recordings} recordings, ${row.leftOut} left out`];
    if (row.sessions !== "1") {
      said.push(`${row.sessions} sessions, of which the last counts`);
    }
    if (row.probability !== "") {
      said.push(`it conforms with a probability of ${probability(row.probability)}`);
    }
    if (row.takes !== "" && row.takes !== "0") {
      said.push(`${row.takes} more of each note that is open would settle it`);
    }
    return `${said.join("; ")}.`;
  }

  function unfolded(row) {
    return [
      element("p", {}, row.reason),
      element("p", { class: "small" }, facts(row)),
      ...valueLists(row),
      element("p", { class: "small" }, "Pale: what is allowed. Dotted: the target. Bar: two "
        + "standard uncertainties u either way. Circle: conforms; diamond: does not; square: not "
        + "decided."),
    ];
  }

  /* Rows. */

  function verdictOf(row) {
    const attributes = { d: MARKS[row.verdict] || OPEN_MARK };
    if (row.verdict === "not conform") {
      attributes.class = "full";
    }
    const mark = drawn("svg", { viewBox: "-6 -6 12 12", "aria-hidden": "true" },
      drawn("path", attributes));
    return element("span", { class: "mark" }, mark, ` ${SAID[row.verdict] || row.verdict}`);
  }

  function rowsOf(row) {
    const id = `row-${row.order}`;
    const button = element("button", { type: "button", class: "unfold", "aria-expanded": "false",
      "aria-controls": id }, name(row.serial));
    const head = element("th", { scope: "row", role: "rowheader" }, button);
    if (row.page) {
      head.append(" ", element("a", { href: row.page, "aria-label": `Page of ${row.serial}` },
        "page"));
    }
    const worst = row.worst === "" ? "\u2013"
      : `${row.worst} ${number(row.cents)} cents (${row.way} %)`;
    const cells = [name(row.station), name(row.operator), row.recorded.slice(0, 16), verdictOf(row), worst,
      element("div", { class: "why" }, row.reason)];
    const line = element("tr", { role: "row" }, head, ...cells.map((inside, place) => element("td",
      { role: "cell", "data-what": HEADS[place + 1] }, inside)));
    const under = element("tr", { role: "row", id, hidden: "" });
    const unfold = (open) => {
      if (open && !under.firstChild) {
        under.append(element("td", { role: "cell", class: "unfolded", colspan: HEADS.length }, ...unfolded(row)));
      }
      under.hidden = !open;
      button.setAttribute("aria-expanded", String(open));
      folded[open ? "add" : "delete"](row);
    };
    button.addEventListener("click", () => unfold(under.hidden));
    if (folded.has(row)) {
      unfold(true);
    }
    return [line, under];
  }

  /* The frame about them. */

  const status = element("p", { role: "status" });
  const body = element("tbody", { role: "rowgroup" });
  const heads = HEADS.map((head, place) => {
    const button = element("button", { type: "button" }, head);
    button.addEventListener("click", () => sortBy(place, state.sort === place && !state.falling));
    return element("th", { scope: "col", role: "columnheader" }, button);
  });
  const pagers = [pager(), pager()];

  function pager() {
    const back = element("button", { type: "button" }, "Previous");
    const on = element("button", { type: "button" }, "Next");
    const turn = (by) => {
      const first = state.first + by * PAGE_ROWS;
      if (first >= 0 && first < found.length) {
        state.first = first;
        show();
      }
    };
    back.addEventListener("click", () => turn(-1));
    on.addEventListener("click", () => turn(1));
    return { back, on, whole: element("div", { class: "pager" }, back, on) };
  }

  function sortBy(place, falling) {
    Object.assign(state, { sort: place, falling });
    order.value = String(place);
    choose();
  }

  function show() {
    const last = Math.min(state.first + PAGE_ROWS, found.length);
    body.replaceChildren(...found.slice(state.first, last).flatMap(rowsOf));
    const of = found.length === rows.length ? "" : `, of ${rows.length.toLocaleString("en")} in all`;
    const count = found.length.toLocaleString("en");
    status.textContent = found.length
      ? `${(state.first + 1).toLocaleString("en")} to ${last.toLocaleString("en")} of ${count} `
        + `instrument${found.length === 1 ? "" : "s"}${of}`
      : `No instrument fits${of}`;
    for (const { back, on, whole } of pagers) {
      back.setAttribute("aria-disabled", String(state.first === 0));
      on.setAttribute("aria-disabled", String(last === found.length));
      whole.hidden = found.length <= PAGE_ROWS;
    }
    heads.forEach((head, place) => {
      if (place === state.sort) {
        head.setAttribute("aria-sort", state.falling ? "descending" : "ascending");
      } else {
        head.removeAttribute("aria-sort");
      }
    });
  }

  function choice(label, options, chosen) {
    const select = element("select", {}, ...options.map(([value, text]) => element("option",
      { value }, text.length > LONGEST_OPTION ? `${text.slice(0, LONGEST_OPTION)}\u2026` : text)));
    select.addEventListener("change", () => chosen(select.value));
    return [element("label", {}, label, select), select];
  }

  const [verdict] = choice("Verdict", [["", "any"], ...VERDICTS.map((each) => [each,
    SAID[each] || each])], (value) => {
    state.verdict = value;
    choose();
  });
  const names = [...new Set(rows.map((row) => row.station))].sort(collator.compare);
  const [station] = choice("Station", [["", "any"], ...names.filter(Boolean).map((each) => [each,
    each])], (value) => {
    state.station = value;
    choose();
  });
  const [ordering, order] = choice("Order", [["-1", "what to look at first"], ...HEADS.map(
    (head, place) => [String(place), head])], (value) => sortBy(Number(value), false));
  const words = element("input", { type: "search", autocomplete: "off" });
  words.addEventListener("input", () => {
    state.words = words.value;
    choose();
  });

  live.append(
    element("div", { class: "filters", role: "group", "aria-label": "Choose instruments" },
      element("label", {}, "Serial number, operator, reason", words), verdict,
      ...(names.length > 1 ? [station] : []), ordering),
    status,
    pagers[0].whole,
    element("table", { class: "stacks tight rows", role: "table" },
      element("caption", {}, "A serial number unfolds to the values of its strings."),
      element("thead", { role: "rowgroup" }, element("tr", { role: "row" }, ...heads)),
      body),
    pagers[1].whole,
  );
  show();
  document.documentElement.classList.add("scripted");
})();
