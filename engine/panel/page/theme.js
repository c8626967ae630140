// Before the first paint: the theme that was chosen in this browser, if one was.
(() => {
  let chosen = null;
  try {
    chosen = localStorage.getItem("bayleaf-theme");
  } catch {
    // a browser that keeps nothing shows the dark theme
  }
  if (chosen === "dark" || chosen === "light") document.documentElement.dataset.theme = chosen;
})();
