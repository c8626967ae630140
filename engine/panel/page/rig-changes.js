// How a rig that is held becomes that of a later revision, from what has changed in it.

/**
 * The rig with these changes: whole sections, and all scenes in order, of which those that are as they were are given by
 * their numbers.
 * @param {Rig} rig
 * @param {RigChanges} changes
 * @param {number} revision that the changes lead to
 * @returns {Rig}
 */
export function renewed(rig, { scenes, ...sections }, revision) {
  const before = new Map(rig.scenes.map((scene) => [scene.number, scene]));
  const now = scenes?.map((scene) => (typeof scene === "number" ? before.get(scene) : scene)).filter((scene) => scene !== undefined);
  return { ...rig, ...sections, scenes: now ?? rig.scenes, revision };
}
