// Shows a page's sections anew whenever the capture that they are of has changed. What the
// person is at stays as it is.
const show = async () => {
  const r = await fetch(location.href);
  if (!r.ok) return;
  const now = new DOMParser().parseFromString(await r.text(), "text/html").querySelectorAll(".sheets > .sheet");
  const seen = document.querySelectorAll(".sheets > .sheet");
  if (now.length !== seen.length) { location.reload(); return; }
  seen.forEach((old, i) => { if (old.outerHTML !== now[i].outerHTML && !old.contains(document.activeElement)) old.replaceWith(now[i]); });
};
let asking = false, again = false;
const ask = async () => {
  if (asking) { again = true; return; }
  asking = true;
  try { await show(); } finally {
    asking = false;
    if (again) { again = false; setTimeout(ask, 500); }
  }
};
new EventSource("/capture/events").addEventListener("message", ask);
