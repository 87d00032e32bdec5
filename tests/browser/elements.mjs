/** Page elements without a page: as much of them as the adult's screens use. */

class Element {
  constructor(name, id = "") {
    Object.assign(this, { name, id, hidden: false, disabled: false, value: "", scrollTop: 0 });
    Object.assign(this, { open: false, children: [], attributes: new Map(), heard: new Map() });
    this.dataset = {};
    this.style = {};
    this.classes = new Set();
    this.classList = {
      toggle: (word, on) => (on ? this.classes.add(word) : this.classes.delete(word)),
    };
    this.text = "";
  }

  get textContent() {
    return this.text + this.children.map((child) => child.textContent ?? child).join("");
  }

  set textContent(text) {
    this.text = text;
    this.children = [];
  }

  append(...children) {
    this.children.push(...children);
  }

  replaceChildren(...children) {
    this.children = children;
  }

  setAttribute(name, value) {
    this.attributes.set(name, value);
  }

  getAttribute(name) {
    return this.attributes.get(name) ?? null;
  }

  addEventListener(name, hear) {
    this.heard.set(name, [...(this.heard.get(name) ?? []), hear]);
  }

  /** As a browser does it: what is disabled hears no click. */
  click() {
    if (this.disabled) return;
    for (const hear of this.heard.get("click") ?? []) hear({ target: this });
    this.onclick?.({ target: this });
  }

  /** Something that the browser tells of itself. */
  fire(name) {
    for (const hear of this.heard.get(name) ?? []) hear({ target: this, preventDefault() {} });
  }

  /** Only `[data-name]`, the one kind of selector that is used. */
  querySelectorAll(selector) {
    const [, name] = /^\[data-(\w+)\]$/.exec(selector);
    const below = (element) => element.children.flatMap((child) =>
      (child instanceof Element ? [child, ...below(child)] : []));
    return below(this).filter((element) => name in element.dataset);
  }

  focus() {}

  blur() {}

  scrollIntoView() {}

  getBoundingClientRect() {
    return { top: 0, bottom: 0, ...this.box };
  }

  showModal() {
    this.open = true;
  }

  close() {
    this.open = false;
  }
}

/**
 * Elements by id, and the page that makes new ones.
 *
 * @param {string} root  id of the element that holds all others
 * @param {Record<string, string[]>} choices  names of data attributes, and the values of the
 *   buttons that carry them
 */
export function pageOf(root, choices) {
  globalThis.document = {
    createElement: (name) => new Element(name), activeElement: null, getElementById: () => null,
  };
  const known = new Map([[root, new Element("div", root)]]);
  const find = (id) => {
    if (!known.has(id)) {
      known.set(id, new Element("div", id));
      known.get(root).append(known.get(id));
    }
    return known.get(id);
  };
  const all = (name) => find(root).querySelectorAll(`[data-${name}]`);
  for (const [name, values] of Object.entries(choices)) {
    for (const value of values) {
      const button = new Element("button");
      button.dataset[name] = value;
      find(root).append(button);
    }
  }
  const choice = (name, value) => all(name).find(({ dataset }) => dataset[name] === value);
  return { find, choice };
}
