// The screen of a joint being measured: tells how far it is, and goes on to the answer.

const bar = document.getElementById("progress");
const said = document.getElementById("said");
const address = location.pathname;

async function ask() {
  try {
    const response = await fetch(address, { cache: "no-store" });
    if (response.ok) {
      const fresh = new DOMParser().parseFromString(await response.text(), "text/html");
      const now = fresh.getElementById("progress");
      if (!now) { // answered, refused or stopped
        const joint = `/joint/${bar.dataset.joint}`;
        const state = await (await fetch(`${joint}/state`, { cache: "no-store" })).json();
        location.replace(state.state === "collecting" ? joint : `${joint}/answer`);
        return;
      }
      bar.max = now.max;
      bar.value = now.value;
      const told = fresh.getElementById("said").textContent;
      if (said.textContent !== told) said.textContent = told;
    }
  } catch (error) {
    said.textContent = "The laptop cannot be reached just now; it goes on measuring.";
  }
  setTimeout(ask, 500);
}

setTimeout(ask, 300);
