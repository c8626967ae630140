// Before the first paint: the theme that was chosen in this browser, or else the system's.
(() => {
  let chosen = null;
  try {
    chosen = localStorage.getItem("bayleaf-theme");
  } catch {
    // a browser that keeps nothing heeds the system
  }
  const light = matchMedia("(prefers-color-scheme: light)");
  const show = () => {
    document.documentElement.dataset.theme = light.matches ? "light" : "dark";
  };
  if (chosen === "dark" || chosen === "light") document.documentElement.dataset.theme = chosen;
  else {
    show();
    light.addEventListener("change", show);
  }
})();
