/* Makes a page fit its one sheet of paper, whatever letters it is set in and however much it has to say.

   The page is laid out for paper for a moment, in which nothing is painted, and `--fit` is set to the greatest zoom
   at which it is no higher and no wider than a sheet. style.css heeds it in print alone. Below LEAST nobody could read it: then it
   runs on to a second sheet. Without script it is printed as it is. */
(() => {
  "use strict";
  const MM = 96 / 25.4;
  // Inside the margins (@page in style.css) of both A4 and Letter: as narrow as the one, as low as the other.
  const WIDTH = 210 - 22, HEIGHT = 279.4 - 22 - 1;
  const LEAST = 0.7, STEP = 0.02;
  const root = document.documentElement, body = document.body;

  const forMedium = () => {
    const rules = [...document.styleSheets].flatMap((sheet) => [...sheet.cssRules]);
    return rules.filter((rule) => rule instanceof CSSMediaRule && rule.media.mediaText === "print");
  };

  function fit() {
    const rules = forMedium(), place = [scrollX, scrollY];
    for (const rule of rules) rule.media.mediaText = "all";
    root.style.width = `${WIDTH}mm`;
    for (let zoom = 1; zoom >= LEAST; zoom -= STEP) {
      root.style.setProperty("--fit", zoom.toFixed(2));
      const low = root.getBoundingClientRect().height <= HEIGHT * MM;
      if (low && body.scrollWidth <= body.clientWidth) break;
    }
    root.style.width = "";
    for (const rule of rules) rule.media.mediaText = "print";
    scrollTo(...place);
  }

  document.fonts.ready.then(fit);
  addEventListener("beforeprint", fit);
})();
