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

/** @type {Record<string, string>} */
export const SOURCES = {
  "known lengths": "Lengths I know of the finished prop",
  "as pictured": "The thing in the picture, as large as it is",
  figure: "The figure that carries it, made as tall as the wearer",
  hand: "The hand at it, made as large as the wearer's",
  finished: "The length the finished prop is to have",
};

export const DROP = "Drop a picture of the prop here, or choose one.";

export const GONE = "The program does not answer. Is it still running? What you do now is kept here and saved as soon as it answers again.";
