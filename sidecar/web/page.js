// Sizes the letters to the window and says where the screen comes from, before the terminal is made. On a device
// that is held in the hand the letters are sized anew when it is turned.

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
  const isAsked = asked >= 6 && asked <= 72;
  terminal.dataset.fontSize = isAsked ? asked : letterSize(innerWidth, innerHeight);
  if (!isAsked) followRotation();
  const shade = matchMedia("(prefers-color-scheme: light)").matches ? "light" : "dark";
  const scheme = location.protocol === "https:" ? "wss" : "ws";
  terminal.dataset.sessionWebsocketUrl = `${scheme}://${location.host}/ws/${shade}`;
  document.querySelector("#again").addEventListener("click", () => location.reload());
});

// The terminal takes the size of its letters when it is made, and the run goes on without it: so it is made anew.
function followRotation() {
  if (!matchMedia("(pointer: coarse)").matches) return; // a window that is drawn larger keeps its letters
  matchMedia("(orientation: portrait)").addEventListener("change", () => location.reload());
}

function settle() {
  const keys = document.querySelector(".xterm-helper-textarea");
  if (matchMedia("(pointer: coarse)").matches) {
    keys.setAttribute("inputmode", "none"); // a tap is for the keys in the footer: no keyboard over the figures
  }
  keys.focus();
}

addEventListener("load", () => setTimeout(settle)); // behind the terminal, which is made on load as well
