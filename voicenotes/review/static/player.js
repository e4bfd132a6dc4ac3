"use strict";
// Plays moments of recordings and lights the words up as they are spoken.
const LEAD_IN = 1.0;
const LEAD_OUT = 0.6;
const player = {
  audio: document.getElementById("audio"),
  box: document.getElementById("player"),
  recording: null, decoded: false, until: null, button: null, words: [], lit: null, wanted: 0,
};

function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

function load(recording, decoded) {
  player.recording = recording;
  player.decoded = decoded;
  player.audio.src = `/audio/${recording}${decoded ? "?as=wav" : ""}`;
  player.audio.load();
}

function playMoment(button) {
  if (player.button === button && !player.audio.paused) { stopPlaying(); return; }
  stopPlaying();
  const { recording, start, end, file } = button.dataset;
  const whole = button.classList.contains("whole");
  playFrom(recording, Math.max(0, Number(start) - (whole ? 0 : LEAD_IN)), whole ? null : Number(end) + LEAD_OUT, file);
  player.button = button;
  button.classList.add("playing");
  lightWords(button);
}

function playFrom(recording, seconds, until, file) {
  player.box.hidden = false;
  document.body.classList.add("has-player");
  document.getElementById("playing-file").textContent = file;
  player.until = until;
  player.wanted = seconds;
  const { audio } = player;
  const go = () => { audio.currentTime = seconds; audio.play().catch(() => tell("The browser can't play this recording.")); };
  if (player.recording !== recording) {
    audio.addEventListener("loadedmetadata", go, { once: true });
    load(recording, false);
  } else if (audio.readyState > 0) go();
  else audio.addEventListener("loadedmetadata", go, { once: true });
}

function stopPlaying() {
  player.audio.pause();
  if (player.button) player.button.classList.remove("playing");
  player.button = null;
  for (const span of document.querySelectorAll(".spoken, .speaking")) span.classList.remove("spoken", "speaking");
  player.words = [];
  player.lit = null;
}

async function lightWords(button) {
  const quote = button.parentElement.querySelector("q.words");
  player.lit = quote;
  if (!quote || quote.hasAttribute("data-corrected")) return;
  const { recording, start, end } = button.dataset;
  const answer = await fetch(`/words/${recording}?start=${start}&end=${end}`);
  if (!answer.ok) return;
  const words = await answer.json();
  if (player.button !== button) return;
  if (words.map((word) => word[0]).join(" ") !== quote.dataset.words) return; // then it lights up as a whole
  quote.replaceChildren(...words.flatMap(([text, from, to], place) => {
    const span = document.createElement("span");
    span.textContent = text;
    span.dataset.from = from;
    span.dataset.to = to;
    return place ? [" ", span] : [span];
  }));
  player.words = [...quote.querySelectorAll("span")];
}

function follow() {
  const { audio } = player;
  const at = audio.currentTime;
  document.getElementById("playing-at").textContent = clock(at);
  for (const span of player.words) {
    span.classList.toggle("speaking", at >= Number(span.dataset.from) && at < Number(span.dataset.to));
    span.classList.toggle("spoken", at >= Number(span.dataset.to));
  }
  if (player.lit && !player.words.length && player.button) {
    const { start, end } = player.button.dataset;
    player.lit.classList.toggle("speaking", at >= Number(start) && at <= Number(end));
  }
  for (const strip of document.querySelectorAll("svg.strip[data-recording]")) {
    const here = strip.dataset.recording === player.recording && !audio.paused;
    const needle = strip.querySelector(".now");
    needle.classList.toggle("on", here);
    if (here) needle.setAttribute("x", String((at / Number(strip.dataset.seconds)) * Number(strip.dataset.strip)));
  }
  if (player.until !== null && at >= player.until) stopPlaying();
  document.getElementById("stop").textContent = audio.paused ? "Play again" : "Stop";
  if (!audio.paused) requestAnimationFrame(follow);
}

player.audio.addEventListener("play", () => requestAnimationFrame(follow));
player.audio.addEventListener("pause", follow);
player.audio.addEventListener("error", () => {
  if (player.decoded || player.recording === null) { tell("This recording can't be played."); return; }
  const { recording, wanted } = player;
  player.audio.addEventListener("loadedmetadata", () => { player.audio.currentTime = wanted; player.audio.play(); }, { once: true });
  load(recording, true); // the browser can't: let it be decoded
});
document.getElementById("stop").addEventListener("click", () => {
  if (!player.audio.paused) stopPlaying();
  else if (player.recording !== null) { player.audio.currentTime = player.wanted; player.audio.play(); }
});
document.getElementById("on").addEventListener("click", () => {
  player.until = null;
  if (player.audio.paused) player.audio.play();
});
document.addEventListener("click", (event) => {
  const button = event.target.closest("button.play");
  if (button) { playMoment(button); return; }
  const words = event.target.closest("q.words");
  if (words) {
    const beside = words.closest(".quote").querySelector("button.play");
    if (beside) playMoment(beside);
    return;
  }
  const strip = event.target.closest("svg.strip[data-recording]");
  if (strip && !event.target.closest("a")) {
    const box = strip.getBoundingClientRect();
    const place = ((event.clientX - box.left) / box.width) * Number(strip.dataset.width);
    const seconds = (place / Number(strip.dataset.strip)) * Number(strip.dataset.seconds);
    stopPlaying();
    playFrom(strip.dataset.recording, Math.max(0, Math.min(seconds, Number(strip.dataset.seconds) - 0.1)), null, strip.dataset.file);
  }
});
