// A code from the camera is in the address behind "#": it is put into the form, and the player sends it.
const code = decodeURIComponent(location.hash.slice(1));
const field = document.getElementById("code");
if (code && field instanceof HTMLInputElement) {
  field.value = code;
  history.replaceState(null, "", location.pathname);
}
export {};
