// What the chosen jobs cost together, worked out by the server whenever a choice changes.

const form = document.getElementById("answer");
const say = (name, text) => { form.querySelector(`[data-${name}]`).textContent = text; };
let asked = 0;

function chosen() {
  return [...document.querySelectorAll("input[type=radio][form=answer]:checked")];
}

async function price() {
  const yes = chosen().filter((radio) => radio.value === "yes").map((radio) => radio.name.slice(4));
  const no = chosen().length - yes.length;
  say("count", `${yes.length} yes, ${no} not now.`);
  say("total", "");
  say("moved", "");
  const mine = ++asked; // an answer to an earlier choice says nothing about this one
  if (!yes.length) return;
  const query = yes.map((job) => `job=${encodeURIComponent(job)}`).join("&");
  try {
    const answer = await fetch(`/c/${form.dataset.token}/total?${query}`, { headers: { Accept: "application/json" } });
    if (!answer.ok) return;
    const price = await answer.json();
    if (mine !== asked) return;
    say("total", `${price.total}${price.open ? ` plus ${price.open} to be priced` : ""}, tax included`);
    for (const [job, amount] of Object.entries(price.jobs)) {
      const card = document.querySelector(`[data-job="${CSS.escape(job)}"] [data-price]`);
      if (card) card.textContent = amount;
    }
    say("moved", price.moved.join(" "));
  } catch {
    if (mine === asked) say("total", "The sum cannot be shown without a connection; the shop works it out the same way.");
  }
}

form?.addEventListener("submit", (event) => {
  if (chosen().length) return;
  event.preventDefault();
  say("count", "Say yes or not now for at least one job.");
  document.querySelector("input[type=radio][form=answer]")?.focus();
});
if (form) for (const radio of document.querySelectorAll("input[type=radio][form=answer]")) radio.addEventListener("change", price);
