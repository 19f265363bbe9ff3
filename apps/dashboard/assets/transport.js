// Play, pause, speed, scrub and step: the controls of transport.html and the keyboard, on one clock.

const find = (id) => document.getElementById(id);

export function bindTransport(player) {
  find("play").addEventListener("click", () => player.toggle());
  find("back").addEventListener("click", () => player.step(-1));
  find("ahead").addEventListener("click", () => player.step(1));
  find("speed").addEventListener("change", (event) => {
    player.speed = Number(event.target.value);
  });
  find("scrub").addEventListener("input", (event) => {
    player.pause();
    player.seek(event.target.valueAsNumber);
  });
  player.addEventListener("state", () => {
    const play = find("play");
    play.classList.toggle("playing", player.playing);
    play.setAttribute("aria-label", player.playing ? "Pause" : "Play");
  });
}

// Where the clock stands, on the scrub bar and for a screen reader.
export function showScrub(player, text) {
  const scrub = find("scrub");
  scrub.max = player.last;
  scrub.value = player.position;
  scrub.style.setProperty("--filled", `${(100 * player.position) / (player.last || 1)}%`);
  scrub.setAttribute("aria-valuetext", text);
}

// Space, arrows, Home and End drive the clock unless another control has use for them. `own` are
// further keys of the page, which act wherever no text is entered and no list is open.
export function bindKeys(player, own = {}) {
  const actions = {
    " ": () => player.toggle(),
    ArrowLeft: () => player.step(-1),
    ArrowRight: () => player.step(1),
    Home: () => { player.pause(); player.seek(0); },
    End: () => { player.pause(); player.seek(player.last); },
  };
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const owner = event.target.closest("input, select, button, summary, a");
    const typing = owner?.matches("select, input:not([type=range])");
    const driving = !owner || owner.id === "scrub" || (event.key === " " && owner.type === "range");
    const action = own[event.key] && !typing ? own[event.key] : driving && actions[event.key];
    if (!action) return;
    event.preventDefault();
    action();
  });
}
