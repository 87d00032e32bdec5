/** Takes the secret of a link out of the address into the form; shows the pass-phrase if wanted. */

const passphrase = document.getElementById("passphrase");
const show = document.getElementById("show");

function takeSecret() {
  if (location.hash.length < 2) return;
  document.getElementById("secret").value = location.hash.slice(1);
  document.getElementById("link").hidden = true;
  // The address bar and the history must not keep it.
  history.replaceState(null, "", location.pathname);
}

takeSecret();
addEventListener("hashchange", takeSecret);
show.hidden = false;
show.addEventListener("click", () => {
  const shown = passphrase.type === "password";
  passphrase.type = shown ? "text" : "password";
  show.textContent = shown ? "Hide pass-phrase" : "Show pass-phrase";
});
