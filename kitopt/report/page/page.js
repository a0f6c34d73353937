"use strict";
// What the page does with a finger: boxes that remember, the state now, readings. Nothing leaves the device.
const DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

const kept = {
  works: true,
  read(key) {
    try { return window.localStorage.getItem(key); } catch { this.works = false; return null; }
  },
  write(key, value) {
    try { window.localStorage.setItem(key, value); } catch { this.works = false; }
  },
};

function made(tag, text, parent) {
  const one = document.createElement(tag);
  one.textContent = text;
  if (parent) parent.append(one);
  return one;
}

// Clock times are those of the place, whatever clock the device has.
class Clock {
  constructor(data) {
    this.start = Date.parse(data.start + "Z");
    this.offsets = data.offsets;
  }
  offset(hour) { return this.offsets.filter(([from]) => from <= hour + 1e-9).pop()[1]; }
  local(hour) {
    return new Date(this.start + hour * 3600e3 + (this.offset(hour) - this.offsets[0][1]) * 60e3);
  }
  said(hour) {
    const at = this.local(Math.round(hour * 60) / 60);
    const two = (number) => String(number).padStart(2, "0");
    return `${DAYS[at.getUTCDay()]} ${at.getUTCDate()} ${MONTHS[at.getUTCMonth()]} ` +
      `${two(at.getUTCHours())}:${two(at.getUTCMinutes())}`;
  }
  hour(text) {
    const plain = (Date.parse(text + "Z") - this.start) / 3600e3;
    const found = this.offsets.map(([from, offset]) => [from, plain - (offset - this.offsets[0][1]) / 60])
      .filter(([from, hour]) => hour >= from - 1e-9);
    return found.length ? found[found.length - 1][1] : plain;
  }
  iso(hour) {
    const at = this.local(hour), offset = this.offset(hour), ahead = Math.abs(offset);
    const two = (number) => String(number).padStart(2, "0");
    return `${at.toISOString().slice(0, 16)}${offset < 0 ? "-" : "+"}${two(Math.floor(ahead / 60))}:${two(ahead % 60)}`;
  }
}

function number(text) {
  const value = Number(String(text).trim().replace(",", "."));
  return String(text).trim() === "" || !Number.isFinite(value) ? null : value;
}

function rememberBoxes(article, key) {
  const boxes = [...article.querySelectorAll("input[type=checkbox].packed")];
  const count = article.querySelector(".count");
  const told = () => {
    const done = boxes.filter((box) => box.checked).length;
    count.textContent = `${done} of ${boxes.length} ticked` + (done === boxes.length ? ": complete" : "");
  };
  boxes.forEach((box) => {
    box.checked = kept.read(`${key} ${box.id}`) === "1";
    box.addEventListener("change", () => { kept.write(`${key} ${box.id}`, box.checked ? "1" : "0"); say(); });
  });
  const say = () => {
    told();
    article.querySelector(".memory").textContent = kept.works
      ? "The boxes are remembered on this device."
      : "This device lets the page remember nothing: the boxes are blank after it is closed.";
  };
  kept.write(`${key} opened`, "1");
  say();
}

function table(parent, heads, rows) {
  const whole = made("table", "", parent), top = made("tr", "", made("thead", "", whole));
  heads.forEach((head) => { made("th", head, top).scope = "col"; });
  const body = made("tbody", "", whole);
  rows.forEach((cells) => {
    const line = made("tr", "", body);
    cells.forEach((cell, i) => {
      const one = made(i ? "td" : "th", cell, line);
      if (!i) one.scope = "row";
    });
  });
}

function tellNow(form, data, outlook, clock) {
  const answer = form.querySelector(".answer"), amount = number(form.elements.amount.value);
  const hour = clock.hour(form.elements.at.value), isShare = form.elements.unit.value === "share";
  answer.textContent = "";
  const volts = data.volts, usable_ah = data.full_wh / volts, start_ah = data.start_wh / volts;
  if (amount === null || !(hour >= -1e-9) || hour >= data.hours) {
    made("p", `Need ${isShare ? "a share in percent" : "ampere-hours"}, and a time from ${clock.said(0)} to ` +
      `${clock.said(data.hours)}.`, answer);
    return;
  }
  // a gauge counts from truly empty, and what is below the allowed depth is not counted on
  const below = 1 - usable_ah / data.measured_ah;
  const left_ah = isShare ? (amount / 100 - below) / (1 - below) * usable_ah : start_ah - amount;
  const counted_ah = Math.min(Math.max(left_ah, 0), usable_ah);
  const chosen = [...form.querySelectorAll("select.use")].map((one) => number(one.value)).filter((one) => one !== null);
  const found = outlook.now(counted_ah * volts, hour, chosen);
  // neither all nor none is said of some
  const percent = (survived) => `${survived === data.n ? 100 : survived === 0 ? 0
    : Math.min(99, Math.max(1, Math.round(100 * survived / data.n)))} %`;
  const until = (step) => (step === null ? "the end" : clock.said(outlook.edges[step]));
  const isEnough = found.survived >= data.needed;
  const first = made("p", `It lasts to the end in ${found.survived} of ${data.n} spells of weather: ` +
    `${percent(found.survived)}; asked is ${data.asked}. ` + (isEnough ? "That is enough." : "That is not enough."), answer);
  first.className = isEnough ? "well" : "short";
  made("p", `Counted on: ${counted_ah.toFixed(1)} Ah of ${usable_ah.toFixed(1)}, from ` +
    `${clock.said(outlook.edges[found.from])} on, the whole step of weather.` +
    (found.until === null ? "" : ` Sure to ${data.asked} it lasts to ${until(found.until)}.`), answer);
  if (!isEnough) {
    made("h3", "What to switch off, the least painful first", answer);
    table(answer, ["Change", "Chance", "Lasts to"], found.others.map((one) =>
      [data.ways[one.way].text, percent(one.survived), until(one.until)]));
  }
  if (!found.wires.length) return;
  made("h3", "Trip-wires from now on", answer);
  const where = (some) => (data.n === 1 ? "" : ` in ${some} of ${data.n} spells`);
  const action = found.action.map((way) => data.ways[way].text).join(", and ");
  if (found.isHopeless) {
    made("p", `None. Already too much is used: from here it is not saved by ${action}${where("any")}.`, answer);
  } else if (found.isAtOnce) {
    made("p", `Already too much is used. Now: ${action}; that saves it${where(found.savable)}.`, answer);
  } else {
    const used_ah = isShare ? 0 : amount;
    table(answer, ["At", `Ah out less Ah in ${isShare ? "from now on" : "since the start"}, at the most`],
      found.wires.map(({ step, limit }) => [clock.said(outlook.edges[step]),
        outLessIn(Math.floor(10 * (used_ah + counted_ah - limit / volts) + 1e-4) / 10)]));
    made("p", `If more were used: ${action}, at once.`, answer);
  }
}

// Where more went in than out, that is said.
function outLessIn(ah) {
  return ah < 0 ? `${(-ah).toFixed(1)} more in` : ah.toFixed(1);
}

function csvCell(value) {
  const text = String(value);
  const safe = /^[=+\-@\t\r]/.test(text) && number(text) === null ? `'${text}` : text;
  return /[",\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
}

function keepReadings(form, data, outlook, clock, key) {
  const answer = form.querySelector(".answer"), list = form.querySelector(".kept"), save = form.querySelector(".save");
  const rows = JSON.parse(kept.read(`${key} readings`) || "[]");
  const told = () => {
    list.textContent = rows.length ? `${rows.length} kept on this device.` : "";
    save.hidden = rows.length === 0;
  };
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    answer.textContent = "";
    const amps = number(form.elements.amps.value), hour = clock.hour(form.elements.at.value);
    const pair = Number(form.elements.panel.value), { sky, aim } = form.elements, panel = data.panels[pair];
    if (amps === null || !(hour >= -1e-9) || hour > data.hours) {
      made("p", `Need amperes, and a time from ${clock.said(0)} to ${clock.said(data.hours)}.`, answer);
      return;
    }
    const due = outlook.expected(pair, sky.value, aim.value, hour);
    const [low, high] = [due * panel.low, due * panel.high];
    const told_ = due < 0.02 ? "the sun is down, or all but down: no reading tells anything now."
      : amps < low ? "low. Do the two-minute test below." : amps > high ? "more than that: the sky is better than said."
        : "as this sky and aim give it.";
    made("p", `${due.toFixed(2)} A is expected, nine readings in ten ${low.toFixed(2)} to ${high.toFixed(2)} A. ` +
      `${amps.toFixed(2)} A is ${told_}`, answer);
    if (due >= 0.02) {
      const worth = Math.min(Math.max(amps, 0) / due * panel.worth, 3);
      rows.push([clock.iso(hour), panel.panel, panel.controller, amps.toFixed(3), worth.toFixed(4),
        amps < low ? "0.000" : "1.000", sky.value, aim.value === "facing" ? "facing" : "flat"]);
      kept.write(`${key} readings`, JSON.stringify(rows));
      told();
    }
  });
  save.addEventListener("click", () => {
    const lines = [data.reading_columns, ...rows].map((cells) => cells.map(csvCell).join(",") + "\n");
    const link = made("a", "");
    link.href = URL.createObjectURL(new Blob(lines, { type: "text/csv" }));
    link.download = "readings.csv";
    link.click();
  });
  told();
}

function start() {
  document.querySelectorAll("article[data-kit]").forEach((article) => {
    rememberBoxes(article, article.dataset.kit);
    article.querySelectorAll("section[data-circuit]").forEach((section) => {
      const data = JSON.parse(section.querySelector("script[type='application/json']").textContent);
      const outlook = new Outlook(data), clock = new Clock(data), key = `${article.dataset.kit} ${section.dataset.circuit}`;
      section.outlook = outlook;
      const state = section.querySelector("form.now"), reading = section.querySelector("form.reading");
      const keys = ["amount", "unit", "at"];
      keys.forEach((name) => { const was = kept.read(`${key} ${name}`); if (was) state.elements[name].value = was; });
      state.addEventListener("submit", (event) => {
        event.preventDefault();
        keys.forEach((name) => kept.write(`${key} ${name}`, state.elements[name].value));
        tellNow(state, data, outlook, clock);
      });
      state.hidden = false;
      if (reading) {
        keepReadings(reading, data, outlook, clock, key);
        reading.hidden = false;
      }
    });
  });
  document.querySelectorAll(".without-script").forEach((one) => one.remove());
}

start();
