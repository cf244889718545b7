// What the page says more than once, or asks for.

/** @type {Record<string, string>} */
export const LANDMARKS = {
  sole: "Where the soles stand",
  knee: "Knee joint",
  hip: "Hip joint",
  shoulder: "Shoulder joint",
  chin: "Lower end of the head",
  eye: "Line of the eyes",
  crown: "Top of the bare head",
};

/** Parts of the body, and where each begins and ends. @type {Record<string, [string, string, string]>} */
export const LIMBS = {
  head_and_neck: ["Head and neck", "the top of the bare head", "the level of the shoulder joints"],
  trunk: ["Trunk", "the level of the shoulder joints", "the hip joint"],
  thigh: ["Thigh", "the hip joint", "the knee joint"],
  shank: ["Shank", "the knee joint", "the ankle"],
  upper_arm: ["Upper arm", "the shoulder joint", "the elbow"],
  forearm: ["Forearm", "the elbow", "the wrist"],
  hand: ["Hand", "the wrist", "the tip of the middle finger"],
};

/** @type {Record<string, string>} */
export const SOURCES = {
  "known lengths": "Lengths of the finished prop",
  "as pictured": "What is pictured, as large as it is",
  figure: "The figure, made as tall as the wearer",
  hand: "The hand, made as large as the wearer's",
  finished: "The length the finished prop is to have",
};

export const DROP = "Drop a picture of the prop here, or choose one.";

/** @param {string[]} unsaved */
export const gone = (unsaved) => `The program does not answer. As long as this page stays open, what you do is kept here, and saved when it answers again. If it was ended, start spanwright mark again and open its new address${unsaved.length > 0 ? `; not saved yet: ${unsaved.join(", ")}` : "; all you did is saved"}.`;
