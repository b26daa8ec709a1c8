// Parts of tables that several pages build.

// bar is a bar of a length from -1 to 1, from the middle of its box.
export const bar = (length) => {
  const box = document.createElement("span"), b = document.createElement("span");
  box.className = "bars";
  b.className = "bar";
  b.style.width = Math.abs(length) * 50 + "%";
  b.style[length < 0 ? "right" : "left"] = "50%";
  box.append(b);
  return box;
};

// row is a row of a table: texts and elements, the first its head; figures are the columns
// that stand to the right, words those whose texts may be long.
export const row = (cells, figures, words = []) => {
  const tr = document.createElement("tr");
  cells.forEach((cell, i) => {
    const c = document.createElement(i === 0 ? "th" : "td");
    if (i === 0) c.scope = "row";
    if (figures.includes(i)) c.className = "figure";
    if (words.includes(i)) c.className = "words";
    c.append(cell);
    tr.append(c);
  });
  return tr;
};
