"use strict";
/* The table of instruments, made from the text that stands in the page. */
(() => {
  const { element, mark, number, valueLine, capital } = pieces;
  const PAGE_ROWS = 25;
  const LONGEST_OPTION = 40; // characters of a name in a list to choose from
  const source = document.getElementById("text");
  const live = document.getElementById("live");
  if (!source) {
    return;
  }
  const { fields, columns, said, heads } = JSON.parse(source.dataset.meaning);
  const rows = source.textContent.split("\n").slice(1).map((line, order) => {
    const parts = line.split("\t");
    const row = { order, values: parts.slice(fields.length) };
    fields.forEach((field, place) => {
      row[field] = parts[place];
    });
    return row;
  });
  const state = { verdict: "", station: "", words: "", sort: -1, falling: false, first: 0 };
  const unfoldedRows = new Set();
  let found = rows;

  const nameOf = (text) => element("bdi", {}, text);
  const counted = (count, noun) => `${count.toLocaleString("en")} ${noun}${count === 1 ? "" : "s"}`;

  /* Filter and sort. */

  const collator = new Intl.Collator(undefined, { numeric: true });
  const VERDICTS = ["not conform", "not decided", "conform"];
  const way = (row) => (row.way === "" ? -1 : Number(row.way));
  const byText = (field) => (a, b) => collator.compare(a[field], b[field]);
  const KEYS = [
    byText("serial"),
    byText("station"),
    byText("operator"),
    byText("recorded"),
    (a, b) => VERDICTS.indexOf(a.verdict) - VERDICTS.indexOf(b.verdict),
    (a, b) => way(b) - way(a),
    byText("reason"),
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
      const sign = state.falling ? -1 : 1;
      found.sort((a, b) => sign * KEYS[state.sort](a, b) || a.order - b.order);
    }
    state.first = 0;
    show();
  }

  function sortBy(place, falling) {
    Object.assign(state, { sort: place, falling });
    orders.select.value = String(place);
    choose();
  }

  /* What a row unfolds to. */

  function valueLists(row) {
    const lists = new Map();
    columns.forEach((column, place) => {
      const value = row.values.slice(3 * place, 3 * place + 3);
      if (value[0] === "" && value[2] === "") {
        return; // it has no such string
      }
      const lines = lists.get(column.characteristic) ?? [];
      lists.set(column.characteristic, [...lines, valueLine(column, value, said)]);
    });
    return [...lists].flatMap(([what, lines]) => [
      element("h3", {}, `${capital(what)} by string, cents`),
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
    const parts = [`${counted(Number(row.recordings), "recording")}, ${row.left_out} left out`];
    if (row.sessions !== "1") {
      parts.push(`${row.sessions} sessions, of which the last counts`);
    }
    if (row.probability !== "") {
      parts.push(`it conforms with a probability of ${probability(row.probability)}`);
    }
    if (row.takes !== "" && row.takes !== "0") {
      parts.push(`${row.takes} more of each note that is not decided would settle it`);
    }
    return `${parts.join("; ")}.`;
  }

  function inside(row) {
    return element("td", { role: "cell", class: "unfolded", colspan: heads.length },
      element("p", {}, row.reason),
      element("p", { class: "small" }, facts(row)),
      ...valueLists(row),
      element("p", { class: "small" }, "Pale: what is allowed. Dotted: the target. Bar: two "
        + `standard uncertainties u either way. Circle: ${said.conform}; diamond: `
        + `${said["not conform"]}; square: ${said["not decided"]}.`));
  }

  /* Rows. */

  function serialCell(row, button) {
    const cell = element("th", { scope: "row", role: "rowheader" }, button);
    if (row.page) {
      cell.append(" ", element("a", { href: row.page, "aria-label": `Page of ${row.serial}` },
        "page"));
    }
    return cell;
  }

  function cells(row) {
    const worst = row.worst === "" ? "\u2013"
      : `${row.worst} ${number(row.cents)} cents (${row.way} %)`;
    const texts = [nameOf(row.station), nameOf(row.operator), row.recorded.slice(0, 16),
      mark(row.verdict, said[row.verdict]), worst, element("div", { class: "why" }, row.reason)];
    return texts.map((text, place) => element("td",
      { role: "cell", "data-what": heads[place + 1] }, text));
  }

  function rowsOf(row) {
    const id = `row-${row.order}`;
    const button = element("button", { type: "button", class: "unfold", "aria-expanded": "false",
      "aria-controls": id }, nameOf(row.serial));
    const under = element("tr", { role: "row", id, hidden: "" });
    const unfold = (open) => {
      if (open && !under.firstChild) {
        under.append(inside(row));
      }
      under.hidden = !open;
      button.setAttribute("aria-expanded", String(open));
      unfoldedRows[open ? "add" : "delete"](row);
    };
    button.addEventListener("click", () => unfold(under.hidden));
    if (unfoldedRows.has(row)) {
      unfold(true);
    }
    return [element("tr", { role: "row" }, serialCell(row, button), ...cells(row)), under];
  }

  function show() {
    const last = Math.min(state.first + PAGE_ROWS, found.length);
    body.replaceChildren(...found.slice(state.first, last).flatMap(rowsOf));
    const of = found.length === rows.length ? "" : `, of ${rows.length.toLocaleString("en")} in all`;
    const shown = `${(state.first + 1).toLocaleString("en")} to ${last.toLocaleString("en")}`;
    status.textContent = found.length
      ? `${shown} of ${counted(found.length, "instrument")}${of}` : `No instrument fits${of}`;
    for (const { back, on, whole } of pagers) {
      back.setAttribute("aria-disabled", String(state.first === 0));
      on.setAttribute("aria-disabled", String(last === found.length));
      whole.hidden = found.length <= PAGE_ROWS;
    }
    headCells.forEach((head, place) => {
      head.removeAttribute("aria-sort");
      if (place === state.sort) {
        head.setAttribute("aria-sort", state.falling ? "descending" : "ascending");
      }
    });
  }

  /* The frame about them. */

  function button(text, pressed) {
    const made = element("button", { type: "button" }, text);
    made.addEventListener("click", pressed);
    return made;
  }

  function pager() {
    const turn = (by) => {
      const first = state.first + by * PAGE_ROWS;
      if (first >= 0 && first < found.length) {
        state.first = first;
        show();
      }
    };
    const [back, on] = [button("Previous", () => turn(-1)), button("Next", () => turn(1))];
    return { back, on, whole: element("div", { class: "pager" }, back, on) };
  }

  function choice(label, options, chosen) {
    const cut = (text) => (text.length > LONGEST_OPTION
      ? `${text.slice(0, LONGEST_OPTION)}\u2026` : text);
    const select = element("select", {}, ...options.map(([value, text]) => element("option",
      { value }, cut(text))));
    select.addEventListener("change", () => chosen(select.value));
    return { select, label: element("label", {}, label, select) };
  }

  function filter(label, key, names) {
    return choice(label, [["", "any"], ...names], (value) => {
      state[key] = value;
      choose();
    }).label;
  }

  const status = element("p", { role: "status" });
  const body = element("tbody", { role: "rowgroup" });
  const pagers = [pager(), pager()];
  const headCells = heads.map((head, place) => element("th", { scope: "col", role: "columnheader" },
    button(head, () => sortBy(place, state.sort === place && !state.falling))));
  const orders = choice("Order", [["-1", "what to look at first"], ...heads.map(
    (head, place) => [String(place), head])], (value) => sortBy(Number(value), false));
  const stations = [...new Set(rows.map((row) => row.station))].filter(Boolean)
    .sort(collator.compare);
  const words = element("input", { type: "search", autocomplete: "off" });
  words.addEventListener("input", () => {
    state.words = words.value;
    choose();
  });

  live.append(
    element("div", { class: "filters", role: "group", "aria-label": "Choose instruments" },
      element("label", {}, "Serial number, operator, reason", words),
      filter("Verdict", "verdict", VERDICTS.map((each) => [each, said[each]])),
      ...(stations.length > 1
        ? [filter("Station", "station", stations.map((each) => [each, each]))] : []),
      orders.label),
    status,
    pagers[0].whole,
    element("table", { class: "stacks tight rows", role: "table" },
      element("caption", {}, "A serial number unfolds to the values of its strings."),
      element("thead", { role: "rowgroup" }, element("tr", { role: "row" }, ...headCells)),
      body),
    pagers[1].whole,
  );
  show();
  document.documentElement.classList.add("scripted");
})();
