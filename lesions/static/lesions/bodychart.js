// The body chart: a click or Enter sets the point and the site. The side stays for a person to say in words.

const SVG = "http://www.w3.org/2000/svg";

/** The side as its radio button is labelled, in capitals so that nobody misreads it. */
const sideOf = (radio) => radio.labels[0].textContent.trim().toUpperCase();

class BodyChart {
  constructor(root) {
    this.root = root;
    this.views = [...root.querySelectorAll("svg[data-view]")];
    this.inputs = Object.fromEntries(
      ["view", "x", "y", "site"].map((name) => [name, root.querySelector(`[name="${name}"]`)]),
    );
    this.words = root.querySelector("[data-chart-words]");
    for (const svg of this.views) {
      svg.addEventListener("click", (event) => this.clicked(svg, event));
      svg.addEventListener("keydown", (event) => this.pressed(svg, event));
    }
    root.querySelectorAll('[name="side"]').forEach((radio) => radio.addEventListener("change", () => this.say()));
    this.inputs.site.addEventListener("change", () => this.siteChosen());
    this.restore();
  }

  regions(svg) {
    return [...svg.querySelectorAll(".region")];
  }

  clicked(svg, event) {
    if (event.target.closest("a.mark")) return;
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    // What is drawn last lies on top, as on the server; a mark or a line never swallows the click.
    const region = this.regions(svg).reverse().find((path) => path.isPointInFill(at));
    if (region) this.set(svg, region, at.x, at.y);
  }

  pressed(svg, event) {
    const region = event.target.closest(".region");
    if (!region) return;
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (step) {
      event.preventDefault();
      this.focus(svg, this.nearest(svg, region, step));
    } else if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      this.set(svg, region, Number(region.dataset.x), Number(region.dataset.y));
    }
  }

  /** The closest region in that direction; across counts double, so that a row stays a row. */
  nearest(svg, from, [dx, dy]) {
    const distance = (to) => {
      const x = to.dataset.x - from.dataset.x;
      const y = to.dataset.y - from.dataset.y;
      const along = x * dx + y * dy;
      return along > 1 ? along + 2 * Math.abs(x * dy + y * dx) : Infinity;
    };
    const best = this.regions(svg).reduce((a, b) => (distance(b) < distance(a) ? b : a));
    return distance(best) < Infinity ? best : from;
  }

  /** One stop of the Tab key for each figure: the region that was last in use. */
  rove(svg, region) {
    for (const other of this.regions(svg)) other.setAttribute("tabindex", other === region ? "0" : "-1");
  }

  focus(svg, region) {
    this.rove(svg, region);
    region.focus({ preventScroll: true });
  }

  set(svg, region, x, y) {
    this.inputs.view.value = svg.dataset.view;
    this.inputs.x.value = x.toFixed(1);
    this.inputs.y.value = y.toFixed(1);
    this.inputs.site.value = region.dataset.code;
    this.show(svg, region, x, y);
    region.focus({ preventScroll: true });
  }

  show(svg, region, x, y) {
    for (const view of this.views)
      for (const other of this.regions(view)) other.setAttribute("aria-checked", String(other === region));
    this.chosen = region;
    this.rove(svg, region);
    this.root.querySelector(".pin")?.remove();
    const pin = document.createElementNS(SVG, "path");
    pin.setAttribute("class", "pin");
    pin.setAttribute("d", `M${x - 16} ${y}h32M${x} ${y - 16}v32`);
    svg.append(pin);
    this.say();
  }

  say() {
    if (!this.chosen) return;
    const radio = this.root.querySelector('[name="side"]:checked');
    const wrong = radio && radio.value !== this.chosen.dataset.side;
    const said = [interpolate(gettext("On the chart: %(site)s."), { site: this.chosen.dataset.words }, true)];
    if (wrong) said.push(interpolate(gettext("You said %(side)s: chart and words must agree."), { side: sideOf(radio) }, true));
    else if (!radio) said.push(gettext("Now say the side."));
    this.words.textContent = said.join(" ");
    this.words.classList.toggle("care", Boolean(wrong));
  }

  /** A site from the list clears a point that lies elsewhere; finer sites keep the point of the whole. */
  siteChosen() {
    if (!this.chosen || this.inputs.site.value === this.chosen.dataset.code) return;
    const drawn = this.root.querySelector(`.region[data-code="${this.inputs.site.value}"]`);
    if (!drawn) return;
    for (const name of ["view", "x", "y"]) this.inputs[name].value = "";
    this.root.querySelector(".pin")?.remove();
    this.chosen.setAttribute("aria-checked", "false");
    this.chosen = null;
    this.words.textContent = gettext("The point is taken from the words; click the chart to set it exactly.");
  }

  restore() {
    const { view, x, y } = this.inputs;
    const svg = this.views.find((one) => one.dataset.view === view.value);
    if (!svg || !x.value || !y.value) return;
    const at = new DOMPoint(Number(x.value), Number(y.value));
    const region = this.regions(svg).reverse().find((path) => path.isPointInFill(at));
    if (region) this.show(svg, region, at.x, at.y);
  }
}

for (const root of document.querySelectorAll("[data-bodychart]:not([data-readonly])")) new BodyChart(root);
