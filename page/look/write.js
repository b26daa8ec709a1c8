// Has the order checked as it is typed, by the program.
(() => {
  const text = document.getElementById("text");
  let timer = 0;
  const check = async () => {
    const r = await fetch(text.dataset.check, { method: "POST", headers: { "Content-Type": "text/plain" }, body: text.value });
    if (!r.ok) return;
    const said = await r.json();
    document.getElementById("trouble").textContent = said.Trouble;
    document.getElementById("fine").textContent = said.Fine;
  };
  text.addEventListener("input", () => { clearTimeout(timer); timer = setTimeout(check, 300); });
  check();
})();
