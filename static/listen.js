/* One volume for all clips, and one clip at a time. Without script each player keeps its own control. */
"use strict";

(() => {
  const players = [...document.querySelectorAll("audio")];
  const volume = document.getElementById("volume");
  if (!players.length || !volume) return;
  document.querySelector(".listening-volume").hidden = false;

  /* Loudness is heard by ratio, so half the way on the slider is a quarter of the pressure. */
  const setAll = () => {
    const share = Number(volume.value) / 100;
    for (const player of players) player.volume = share * share;
  };
  volume.addEventListener("input", setAll);
  setAll();

  for (const player of players) {
    player.addEventListener("play", () => {
      for (const other of players) if (other !== player) other.pause();
    });
    /* A player's own slider moves all of them, so that their relation stays true. */
    player.addEventListener("volumechange", () => {
      const asked = Math.round(100 * Math.sqrt(player.volume));
      if (Math.abs(asked - Number(volume.value)) > 1) {
        volume.value = String(asked);
        setAll();
      }
    });
  }
})();
