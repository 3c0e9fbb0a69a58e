// How far a plan is, asked again and again until it is over; then the page says how it ended, or shows the plan.

const place = document.querySelector("[data-job]");
const said = document.querySelector("[data-said]");
let before = "";

async function look() {
  try {
    const answer = await fetch(place.dataset.job, { headers: { Accept: "application/json" } });
    if (answer.ok) {
      const job = await answer.json();
      if (job.over) {
        location.replace(place.dataset.over);
        return;
      }
      const percent = `${Math.round(job.percent)} %`;
      place.querySelector("progress").value = job.percent;
      place.querySelector("[data-percent]").textContent = percent;
      if (job.stage !== before) {
        before = job.stage;
        const words = job.stage.charAt(0).toUpperCase() + job.stage.slice(1);
        place.querySelector("[data-stage]").textContent = `${words}.`;
        said.textContent = `${words}, ${percent}.`;
      }
    }
  } catch {
    // The server may be busy or away; the next look tells.
  }
  setTimeout(look, 600);
}

look();
