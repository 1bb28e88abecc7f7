// Sizes the letters to the window and says where the screen comes from, before the terminal is made.

const COLUMN_EM = 0.6; // width of one letter of the font
const ROW_EM = 1.32; // and its height

function letterSize(width, height) {
  const columns = width < 600 ? 56 : width < 1000 ? 80 : 120;
  const rows = height < 600 ? 24 : 40;
  const fits = Math.min(width / (columns * COLUMN_EM), height / (rows * ROW_EM));
  return Math.max(9, Math.min(28, Math.floor(fits)));
}

document.addEventListener("DOMContentLoaded", () => {
  const terminal = document.querySelector("#terminal");
  const asked = Number(new URLSearchParams(location.search).get("fontsize"));
  terminal.dataset.fontSize = asked >= 6 && asked <= 72 ? asked : letterSize(innerWidth, innerHeight);
  terminal.dataset.sessionWebsocketUrl = `${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/ws`;
  document.querySelector("#again").addEventListener("click", () => location.reload());
});

function settle() {
  const keys = document.querySelector(".xterm-helper-textarea");
  if (matchMedia("(pointer: coarse)").matches) {
    keys.setAttribute("inputmode", "none"); // a tap is for the keys in the footer: no keyboard over the figures
  }
  keys.focus();
}

addEventListener("load", () => setTimeout(settle)); // behind the terminal, which is made on load as well
