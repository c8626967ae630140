// A code that came by the camera stands behind "#": it is put into the form, and the player sends it.
const code = decodeURIComponent(location.hash.slice(1));
if (code) {
  document.getElementById("code").value = code;
  history.replaceState(null, "", location.pathname);
}
