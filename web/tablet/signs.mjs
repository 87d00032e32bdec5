/** The drawings of the harbour, and which of them stand at the ends of a task. */

const SVG = "http://www.w3.org/2000/svg";

// What a child is told to go from and to. No drawing stands in two pairs.
const PAIRS = [
  ["boat", "lighthouse"], ["crab", "shell"], ["kite", "flag"], ["ferry", "bell"],
  ["fish", "wave"], ["gull", "nest"], ["oar", "anchor"], ["bucket", "lantern"],
];

// Drawings that no child is known by.
const THINGS = ["nest", "coil", "crate"];

function startOf(name) {
  let sum = 7;
  for (const letter of name) sum = (sum * 31 + letter.codePointAt(0)) % 65521;
  return sum % PAIRS.length;
}

/** The same task always shows the same pair. */
export const pairOf = (name) => PAIRS[startOf(name)];

/** `count` pairs for one task, different from each other as long as there are that many. */
export const pairsOf = (name, count) =>
  Array.from({ length: count }, (_, i) => PAIRS[(startOf(name) + i) % PAIRS.length]);

export function element(name, attributes = {}, children = []) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

/** Drawing `sign` in a square of `side` around `at`. */
export const drawing = (sign, [x, y], side) =>
  element("use", {
    href: `#${THINGS.includes(sign) ? "thing" : "sign"}-${sign}`,
    x: x - side / 2, y: y - side / 2, width: side, height: side,
  });

/** A length as an attribute carries it: in whole thousandths. */
export const rounded = (value) => Math.round(value * 1000) / 1000;

/** Path data of straight lines from point to point. */
export const pathData = (points) =>
  points.map(([x, y], i) => `${i === 0 ? "M" : "L"}${rounded(x)} ${rounded(y)}`).join("");
