// Photographs of many joints: choosing them sends them; the laptop sorts them by their slips.

const form = document.getElementById("roll");
const trouble = document.getElementById("trouble");

form.querySelector("input").addEventListener("change", (event) => {
  if (!event.target.files.length) return;
  trouble.hidden = true;
  const bar = document.createElement("progress");
  bar.className = "tall";
  bar.max = 1;
  bar.value = 0;
  bar.setAttribute("aria-label", "Sent");
  const list = document.getElementById("photographs");
  list.replaceChildren(Object.assign(document.createElement("li"), { className: "photo wide" }));
  list.firstChild.append(bar);
  const request = new XMLHttpRequest();
  const fail = (text) => {
    trouble.textContent = text;
    trouble.hidden = false;
    list.replaceChildren();
    event.target.value = "";
  };
  request.upload.onprogress = (e) => { bar.value = e.loaded / e.total; };
  request.onerror = () => fail("The connection broke: choose them again. None is taken twice.");
  request.onload = () => {
    if (request.status >= 400) {
      try { fail(JSON.parse(request.responseText).sentence); } catch (error) { fail("The laptop did not take them."); }
      return;
    }
    location.href = request.responseURL;
  };
  request.open("POST", form.action);
  request.setRequestHeader("Accept", "application/json");
  request.send(new FormData(form));
});
