"use strict";
// Values under a finger, a mouse or the arrow keys: a slider for each picture with an axis of time.
document.documentElement.classList.add("live");

const clock = (s) => {
  const minutes = Math.round(s / 60);
  return minutes < 120 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
};

for (const box of document.querySelectorAll(".timed")) {
  const { times_s, names, lines, phases, marks } =
    JSON.parse(box.querySelector("script").textContent);
  const slide = box.querySelector("input");
  const words = box.querySelector("output");
  const first = times_s[0];
  const length = times_s[times_s.length - 1] - first;

  const tell = () => {
    const at = Number(slide.value);
    const time_s = times_s[at];
    const phase = phases.filter(([start]) => start <= time_s).pop();
    const near = marks.filter(([when]) => Math.abs(when - time_s) <= length / 100);
    const parts = [names ? names[at] : clock(time_s)];
    if (phase) parts[0] += `, ${phase[1]}`;
    for (const [name, unit, decimals, values] of lines) {
      const value = values[at] === null ? "no reading" : values[at].toFixed(decimals);
      parts.push(`${name} ${value} ${unit}`.trim());
    }
    for (const [, text] of near) parts.push(`marked: ${text}`);
    words.textContent = parts.join(" · ");
    slide.setAttribute("aria-valuetext", parts.join(", "));
    for (const drawing of box.querySelectorAll(".drawing")) {
      const left = Number(drawing.dataset.left);
      const share = (time_s - first) / length;
      drawing.querySelector(".hair").style.left =
        `${left + share * (Number(drawing.dataset.right) - left)}%`;
    }
    box.classList.add("asked");
  };

  for (const drawing of box.querySelectorAll(".drawing")) {
    const move = (event) => {
      const { left, width } = drawing.getBoundingClientRect();
      const from = Number(drawing.dataset.left) / 100;
      const to = Number(drawing.dataset.right) / 100;
      const share = ((event.clientX - left) / width - from) / (to - from);
      const time_s = first + Math.min(1, Math.max(0, share)) * length;
      const later = times_s.findIndex((t) => t >= time_s);
      slide.value = later < 0 ? times_s.length - 1 : later;
      tell();
    };
    drawing.addEventListener("pointermove", move);
    drawing.addEventListener("pointerdown", move);
  }
  slide.addEventListener("input", tell);
}

document.querySelector(".every")?.addEventListener("click", () => {
  const all = [...document.querySelectorAll("details")];
  const open = all.some((part) => !part.open);
  for (const part of all) part.open = open;
});
