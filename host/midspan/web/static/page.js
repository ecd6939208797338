(() => {
  const root = document.documentElement, kept = "midspan-theme";
  const show = (theme) => theme ? root.dataset.theme = theme : delete root.dataset.theme;
  show(localStorage.getItem(kept));
  const dark = () => root.dataset.theme ? root.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
  addEventListener("click", (event) => {
    if (!event.target.closest("#theme")) return;
    const theme = dark() ? "light" : "dark";
    localStorage.setItem(kept, theme);
    show(theme);
  });
  // What is drawn anew while it has the focus gets it back, so that the keyboard does not lose its place.
  let last = "";
  addEventListener("focusin", (event) => { last = event.target.id; });
  addEventListener("pointerdown", () => { last = ""; });
  new MutationObserver(() => {
    if (last && document.activeElement === document.body) document.getElementById(last)?.focus({ preventScroll: true });
  }).observe(root, { childList: true, subtree: true });
})();
