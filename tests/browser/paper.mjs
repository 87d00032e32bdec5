/** As much of a document as the child's pictures need, without a browser. */

class ClassList {
  constructor(node) {
    this.node = node;
  }

  get names() {
    return (this.node.attributes.class ?? "").split(" ").filter(Boolean);
  }

  contains(name) {
    return this.names.includes(name);
  }

  toggle(name, on) {
    const others = this.names.filter((one) => one !== name);
    this.node.attributes.class = [...others, ...(on ? [name] : [])].join(" ");
  }

  add(name) {
    this.toggle(name, true);
  }

  remove(name) {
    this.toggle(name, false);
  }
}

export class Node {
  constructor(name) {
    Object.assign(this, { name, attributes: {}, children: [], parent: null, root: false });
    this.classList = new ClassList(this);
  }

  setAttribute(key, value) {
    this.attributes[key] = String(value);
  }

  get dataset() {
    return { sign: this.attributes["data-sign"] };
  }

  get isConnected() {
    return this.root || (this.parent?.isConnected ?? false);
  }

  append(...nodes) {
    for (const node of nodes) {
      node.remove();
      node.parent = this;
      this.children.push(node);
    }
  }

  replaceChildren(...nodes) {
    for (const child of [...this.children]) child.remove();
    this.append(...nodes);
  }

  remove() {
    if (this.parent) this.parent.children = this.parent.children.filter((one) => one !== this);
    this.parent = null;
  }

  /** Every node below this one, in the order of drawing. */
  get all() {
    return this.children.flatMap((child) => [child, ...child.all]);
  }

  /** Selectors like `.way, .leaves.away`: classes alone. */
  querySelectorAll(selectors) {
    const choices = selectors.split(",").map((one) => one.trim().split(".").filter(Boolean));
    return this.all.filter((node) =>
      choices.some((names) => names.every((name) => node.classList.contains(name))));
  }

  querySelector(selectors) {
    return this.querySelectorAll(selectors)[0] ?? null;
  }

  numberOf(key) {
    return Number(this.attributes[key]);
  }
}

/** A page's root, and frames that come when a test says so. */
export function paper() {
  const asked = new Map();
  let last = 0;
  globalThis.document = { createElementNS: (_, name) => new Node(name) };
  globalThis.requestAnimationFrame = (callback) => {
    last += 1;
    asked.set(last, callback);
    return last;
  };
  globalThis.cancelAnimationFrame = (id) => asked.delete(id);
  const svg = Object.assign(new Node("svg"), { root: true });
  const frame = (t_ms) => {
    const callbacks = [...asked.values()];
    asked.clear();
    for (const callback of callbacks) callback(t_ms);
    return callbacks.length;
  };
  return { svg, frame };
}
