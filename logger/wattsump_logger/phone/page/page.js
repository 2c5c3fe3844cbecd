"use strict";
// Shows what the recorder pushes, keeps the last of it when the link drops, and says how old it is.

const $ = (id) => document.getElementById(id);
const root = document.documentElement;
const token = location.hash.slice(1);
const MARKS = ["fan", "climb", "load", "stop"];
const OLD_S = 5; // the recorder sends a beat every two seconds
const HOUR_S = 3600;
const BIN_S = 10;
const NEAR_K = 5;
const ROOM_K = 40; // length of the bar below a temperature, up to its limit
const CLASSES = 6;
const EVERY_S = [30, 60, 300, 600, 900, 1800];
const LABEL_PX = 60; // a time below the curves, and the space to the next

let state = null;
let heard_ms = 0; // when the newest state came
let linked = false;
let bins = []; // [time s, {channel: highest}]

const put = (id, text) => {
  const part = typeof id === "string" ? $(id) : id;
  if (part.textContent !== text) part.textContent = text;
};
const sum = (parts) => parts.filter(Boolean).join(" · ");
const made = (name, className, text) => {
  const part = document.createElement(name);
  if (className) part.className = className;
  if (text) part.textContent = text;
  return part;
};
const minutes = (s) => {
  const whole = Math.max(0, Math.floor(s));
  const clock = `${Math.floor(whole / 60) % 60}:${String(whole % 60).padStart(2, "0")}`;
  return whole < 3600 ? clock : `${Math.floor(whole / 3600)}:${clock.padStart(5, "0")}`;
};
// A line never ends before a degree.
const degrees = (text) => text.replaceAll(" degC", "\u00a0°C").replaceAll(" °F", "\u00a0°F");
const isUs = () => state?.units === "us";
const shown = (c) => (isUs() ? 1.8 * c + 32 : c);
const shownSpan = (k) => (isUs() ? 1.8 * k : k);
const degree = () => (isUs() ? "°F" : "°C");
const kelvin = () => (isUs() ? "°F" : "K");
const spaced = (name) => name.replaceAll("_", " ");

// Link and age

const tellAge = () => {
  const age_s = heard_ms ? (Date.now() - heard_ms) / 1000 : Infinity;
  const old = !linked || age_s > OLD_S;
  root.classList.toggle("stale", old);
  const age = age_s === Infinity ? "nothing yet" : `values ${minutes(age_s)} old`;
  if (old) put("link", linked ? `recorder silent, ${age}` : `no link, ${age}`);
  else put("link", state.link);
};
setInterval(tellAge, 1000);

const source = new EventSource("/live");
source.onopen = () => { linked = true; tellAge(); };
source.onerror = () => { linked = false; tellAge(); };
source.addEventListener("hour", (event) => {
  bins = JSON.parse(event.data);
  draw();
});
source.addEventListener("now", (event) => {
  linked = true;
  const found = JSON.parse(event.data);
  if (found && found.gauges) {
    const turned = found.units !== state?.units;
    state = found;
    heard_ms = Date.now();
    remember();
    if (turned) draw(); // what was drawn before may stand in other units
    show();
  }
  tellAge();
});

// The moment

const show = () => {
  put("machine", state.machine || "wattsump");
  showAlarms();
  showGauges();
  showAhead();
  showGuide();
  put("marks", state.marks.length ? "Marks: " + state.marks
    .map(([at_s, text]) => `${at_s === null ? "now" : minutes(at_s)} ${degrees(text)}`).join(", ") : "");
  put("others", sum(state.others.map(([name, cell]) => {
    const unit = name.slice(name.lastIndexOf("_") + 1);
    const word = spaced(name.slice(0, name.lastIndexOf("_")));
    if (unit === "on") return `${word} ${{ 1: "on", 0: "off" }[cell] ?? "unknown"}`;
    return cell === "" ? `${word} no reading` : `${word} ${Number(cell) || cell} ${unit}`;
  })));
  put("faults", sum([...state.trouble, ...state.faults]));
  put("state", sum([
    state.outing,
    state.elapsed_s === null ? "" : `${minutes(state.elapsed_s)} into the outing`,
    `${state.row_count} rows`,
    state.complete_pct === null ? "" : `${state.complete_pct.toFixed(1)} % complete`,
  ]));
};

const showAlarms = () => {
  const box = $("alarms");
  const wanted = state.alarms.map((alarm) =>
    degrees(alarm.text) + ({ seen: ", seen", passed: ", no longer" }[alarm.state] ?? ""));
  const shown = [...box.children].map((part) => part.textContent);
  if (wanted.join("\n") !== shown.join("\n"))
    box.replaceChildren(...wanted.map((text, at) =>
      made("p", state.alarms[at].state === "alarm" ? "loud" : "", text)));
  const open = state.alarms.some((alarm) => alarm.state !== "seen");
  $("seen").hidden = !(open && token);
  ring(state.alarms.some((alarm) => alarm.state === "alarm" && alarm.urgent));
};

const cards = new Map();
const showGauges = () => {
  const names = state.gauges.map((gauge) => gauge.name);
  for (const [name, card] of cards) if (!names.includes(name)) { card.remove(); cards.delete(name); }
  for (const gauge of state.gauges) {
    if (!cards.has(gauge.name)) {
      const card = made("div", "gauge");
      const bar = made("div", "room");
      bar.append(made("div"));
      card.append(made("h2", "", spaced(gauge.name)), made("p", "value"), made("p", "margin"), bar,
        made("p", "rate"));
      cards.set(gauge.name, card);
      $("gauges").append(card);
    }
    showGauge(cards.get(gauge.name), gauge);
  }
};

const showGauge = (card, gauge) => {
  const none = gauge.value_c === null;
  const room_k = none || gauge.limit_c === null ? null : gauge.limit_c - gauge.value_c;
  card.classList.toggle("none", none);
  card.classList.toggle("over", room_k !== null && room_k <= 0);
  card.classList.toggle("near", room_k !== null && room_k > 0 && (room_k < NEAR_K || gauge.loud));
  const value = card.querySelector(".value");
  const text = none ? "no reading" : shown(gauge.value_c).toFixed(1);
  if (value.dataset.text !== text) {
    value.dataset.text = text;
    value.replaceChildren(text, ...(none ? [] : [made("small", "", ` ${degree()}`)]));
  }
  put(card.querySelector(".margin"), room_k === null ? gauge.fault
    : `${shownSpan(Math.abs(room_k)).toFixed(1)} ${kelvin()} ${room_k <= 0 ? "over" : "to"} `
      + `${shown(gauge.limit_c).toFixed(0)} ${degree()}`);
  const bar = card.querySelector(".room");
  bar.hidden = room_k === null;
  if (room_k !== null)
    bar.firstChild.style.width = `${100 * Math.min(1, Math.max(0, 1 - room_k / ROOM_K))}%`;
  const rate = gauge.rate_k_min === null ? "" : shownSpan(Math.abs(gauge.rate_k_min)).toFixed(1);
  const sign = rate === "0.0" ? "" : gauge.rate_k_min < 0 ? "−" : "+";
  put(card.querySelector(".rate"), rate && `${sign}${rate} ${kelvin()}/min`);
};

const showAhead = () => {
  const ahead = state.forecast;
  put("phase", state.phase);
  put("cooler", state.known && `Cooler so far: ${state.known.replaceAll("+/- ", "±").replaceAll(" %", "\u00a0%")}`);
  if (!ahead || ahead.heading_c === null) return put("forecast", "");
  const limit = `${shown(ahead.limit_c).toFixed(0)} ${degree()}`;
  if (ahead.minutes_to_limit !== null)
    return put("forecast", `${ahead.minutes_to_limit.toFixed(0)} min to ${limit}`);
  const most_c = ahead.heading_c + 2 * (ahead.u_heading_k ?? 0);
  put("forecast", `heading for ${shown(ahead.heading_c).toFixed(0)} ${degree()}, `
    + (most_c >= ahead.limit_c ? `may reach ${limit}` : `stays below ${limit}`));
};

const showGuide = () => {
  const advice = state.advice;
  $("guide").hidden = !advice;
  if (!advice) return;
  put("stage", sum([advice.position, advice.stage]));
  put("urgent", degrees(advice.urgent));
  put("do", degrees(advice.do));
  put("left", sum([advice.left_s === null ? "" : `at most ${minutes(advice.left_s)} more`,
    advice.until]));
  const safety = advice.safety.join("\n");
  if ($("safety").dataset.text !== safety) {
    $("safety").dataset.text = safety;
    $("safety").replaceChildren(...advice.safety.map((line) => made("li", "", line)));
  }
  put("known", advice.learned.length ? "Known: " + advice.learned.join("; ") : "");
  $("go_on").hidden = !token || advice.finished;
};

// The hour

const remember = () => {
  if (state.elapsed_s === null) return;
  const start_s = Math.floor(state.elapsed_s / BIN_S) * BIN_S;
  const last = bins[bins.length - 1];
  if (last && start_s < last[0]) bins = [];
  if (!bins.length || bins[bins.length - 1][0] < start_s) {
    bins.push([start_s, {}]);
    bins = bins.slice(-HOUR_S / BIN_S);
    draw();
  }
  const highest = bins[bins.length - 1][1];
  for (const { name, value_c } of state.gauges)
    if (value_c !== null) highest[name] = Math.max(value_c, highest[name] ?? value_c);
};

const svg = (name, attributes, text) => {
  const part = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) part.setAttribute(key, value);
  if (text) part.textContent = text;
  return part;
};

const draw = () => {
  const box = $("curves");
  const values = bins.flatMap(([, highest]) => Object.values(highest).map(shown));
  if (bins.length < 2 || !values.length) return;
  put("hour-head", `The last hour, ${degree()}`);
  const { width, height } = box.getBoundingClientRect();
  const [left, right, top, foot] = [34, width - 96, 8, height - 24];
  const [low, high] = [Math.floor(Math.min(...values) / 10) * 10, Math.ceil(Math.max(...values) / 10) * 10];
  const first = bins[0][0];
  const length = Math.max(bins[bins.length - 1][0] - first, BIN_S);
  const x = (t) => left + (right - left) * (t - first) / length;
  const y = (c) => foot - (foot - top) * (c - low) / Math.max(high - low, 10);
  const parts = [];
  const step = high - low > 120 ? 40 : high - low > 60 ? 20 : 10;
  for (let c = low; c <= high; c += step) {
    parts.push(svg("line", { class: "rule", x1: left, x2: right, y1: y(c), y2: y(c) }));
    parts.push(svg("text", { x: left - 6, y: y(c) + 5, "text-anchor": "end" }, String(c)));
  }
  const room = (right - left) / LABEL_PX;
  const every = EVERY_S.find((step_s) => length / step_s <= room) ?? HOUR_S;
  for (let t = Math.ceil(first / every) * every; t <= first + length; t += every)
    parts.push(svg("text", { x: x(t), y: height - 4, "text-anchor": "middle" }, minutes(t)));
  const names = [...new Set(bins.flatMap(([, highest]) => Object.keys(highest)))];
  const ends = [];
  names.forEach((name, at) => {
    const kind = `k${at % CLASSES}`;
    let path = "";
    let pen = "M";
    for (const [t, highest] of bins) {
      if (highest[name] === undefined) { pen = "M"; continue; }
      path += `${pen}${x(t).toFixed(1)} ${y(shown(highest[name])).toFixed(1)}`;
      pen = "L";
      ends[at] = { name, kind, at: y(shown(highest[name])) };
    }
    parts.push(svg("path", { class: kind, d: path }));
  });
  const placed = ends.filter(Boolean).sort((a, b) => a.at - b.at);
  placed.forEach((end, i) => { if (i) end.at = Math.max(end.at, placed[i - 1].at + 16); });
  for (let i = placed.length - 1, floor = foot + 4; i >= 0; i -= 1, floor = placed[i + 1].at - 16)
    placed[i].at = Math.min(placed[i].at, floor);
  for (const end of placed)
    parts.push(svg("text", { class: end.kind, x: right + 6, y: end.at + 5 }, spaced(end.name)));
  box.setAttribute("viewBox", `0 0 ${width} ${height}`);
  box.setAttribute("aria-label", `Temperatures from ${minutes(first)} to ${minutes(first + length)}`
    + ` into the outing: ${names.map(spaced).join(", ")}.`);
  box.replaceChildren(...parts);
};
addEventListener("resize", draw);

// What a finger asks for

const ask = async (what, button) => {
  button.disabled = true; // a shaken phone presses twice
  setTimeout(() => { button.disabled = false; }, 700);
  let answer = "no link: not kept";
  try {
    const reply = await fetch("/act", {
      method: "POST",
      headers: { Authorization: `Bearer ${token}` },
      body: JSON.stringify(what),
      signal: AbortSignal.timeout(4000),
    });
    answer = { 204: "kept", 401: "not kept: scan the code again", 429: "not kept: too many" }[
      reply.status] ?? `not kept: ${reply.status}`;
  } catch { /* said below */ }
  put("answer", `${what.text || spaced(what.what)}: ${answer}`);
  return answer === "kept";
};

$("marking").hidden = !token;
for (const text of MARKS) {
  const button = made("button", "", text[0].toUpperCase() + text.slice(1));
  button.type = "button";
  button.addEventListener("click", () => ask({ what: "mark", text }, button));
  $("buttons").append(button);
}
for (const what of ["seen", "go_on"])
  $(what).addEventListener("click", () => ask({ what }, $(what)));
$("note").addEventListener("submit", async (event) => {
  event.preventDefault();
  const field = event.target.elements.text;
  const text = field.value.trim();
  if (text && await ask({ what: "note", text }, event.submitter ?? field)) field.value = "";
});

// Sound, and a screen that stays on where the browser lets a page without a certificate ask for it

let sound = null;
let ringing = null;
const beep = () => {
  if (!sound) return;
  const tone = sound.createOscillator();
  const loudness = sound.createGain();
  tone.frequency.value = 1760;
  loudness.gain.setValueAtTime(0.5, sound.currentTime);
  loudness.gain.exponentialRampToValueAtTime(0.001, sound.currentTime + 0.35);
  tone.connect(loudness).connect(sound.destination);
  tone.start();
  tone.stop(sound.currentTime + 0.4);
  navigator.vibrate?.(300);
};
const ring = (wanted) => {
  if (wanted && !ringing) { beep(); ringing = setInterval(beep, 1000); }
  if (!wanted && ringing) { clearInterval(ringing); ringing = null; }
};
const stayAwake = () => navigator.wakeLock?.request("screen").catch(() => {});
$("wake").addEventListener("click", () => {
  if (sound) { sound.close(); sound = null; }
  else { sound = new AudioContext(); beep(); stayAwake(); }
  $("wake").setAttribute("aria-pressed", String(Boolean(sound)));
});
document.addEventListener("visibilitychange", () => {
  if (sound && document.visibilityState === "visible") stayAwake();
});

const night = (on) => {
  root.classList.toggle("night", on);
  $("night").setAttribute("aria-pressed", String(on));
};
night(matchMedia("(prefers-color-scheme: dark)").matches);
$("night").addEventListener("click", () => night(!root.classList.contains("night")));
