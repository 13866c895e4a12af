// Plays the seconds that a suggestion came from, and waits for a look at past drafts. Without it, links do.
const audio = new Audio();
let until = 0;
let lit = null;

function stop() {
  audio.pause();
  lit?.classList.remove("playing");
  lit = null;
}

audio.addEventListener("timeupdate", () => { if (audio.currentTime >= until) stop(); });
audio.addEventListener("ended", stop);

document.addEventListener("click", async (event) => {
  const link = event.target.closest("a.play");
  if (!link || event.ctrlKey || event.metaKey) return;
  event.preventDefault();
  const again = lit === link;
  stop();
  if (again) return;
  const address = `/media/take/${link.dataset.take}/sound.wav`;
  if (!audio.src.endsWith(address)) audio.src = address;
  until = Number(link.dataset.to);
  lit = link;
  link.classList.add("playing");
  try {
    audio.currentTime = Number(link.dataset.from);
    await audio.play();
  } catch (error) {
    if (error.name === "AbortError") return;
    stop();
    const place = document.querySelector("[data-tell]");
    place?.classList.remove("hidden");
    if (place) place.textContent = "This recording cannot be played any more; its words are still here.";
  }
});

const trying = document.querySelector("[data-trying]");
if (trying) {
  const look = async () => {
    const answer = await fetch(trying.dataset.trying, { headers: { Accept: "application/json" } });
    if (!answer.ok) return;
    const state = await answer.json();
    if (state.ended) { location.reload(); return; }
    trying.querySelector("[data-done]").textContent = `${state.done} of ${state.total}`;
    const bar = trying.querySelector("progress");
    bar.max = state.total || 1;
    bar.value = state.done;
    setTimeout(look, 700);
  };
  setTimeout(look, 500);
}
