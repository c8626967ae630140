// Which play line is which: a line keeps its place's number while others come and go, and while it is edited itself.

/** @typedef {{id: number, text: string}} Known */

/** @type {Map<number, Known[]>} by the number of a scene */
const known = new Map();

/**
 * A number for each line of a scene: that of the line which says the same, or else, where as many were changed as came, that
 * of the line in whose turn it is.
 * @param {number} scene
 * @param {unknown[]} lines
 * @returns {number[]}
 */
export function lineIds(scene, lines) {
  const left = [...(known.get(scene) ?? [])];
  let fresh = Math.max(-1, ...left.map(({ id }) => id)) + 1;
  const now = lines.map((line) => {
    const text = JSON.stringify(line);
    const same = left.findIndex((each) => each.text === text);
    return { text, id: same < 0 ? null : left.splice(same, 1)[0].id };
  });
  const edited = now.filter(({ id }) => id === null).length === left.length;
  const all = now.map(({ text, id }) => ({ text, id: id ?? (edited ? left.shift()?.id : undefined) ?? fresh++ }));
  known.set(scene, all);
  return all.map(({ id }) => id);
}
