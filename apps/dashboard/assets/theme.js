// Run before the first paint: the theme the visitor chose, else the machine's, as an attribute of the
// page. Classic script, not a module, because a module would run after the paint.
(() => {
  const chosen = /(?:^|; )theme=(light|dark)/.exec(document.cookie)?.[1];
  const dark = window.matchMedia("(prefers-color-scheme: dark)").matches;
  document.documentElement.dataset.theme = chosen ?? (dark ? "dark" : "light");
})();
