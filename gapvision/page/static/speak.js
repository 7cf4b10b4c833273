// Reads the answer aloud by the browser's own voice, where it has one.

export function speakable(button) {
  if (!("speechSynthesis" in window)) return;
  const label = button.querySelector("span"), idle = label.textContent;
  button.hidden = false;
  const stop = () => { label.textContent = idle; button.setAttribute("aria-pressed", "false"); };
  stop();
  button.addEventListener("click", () => {
    if (speechSynthesis.speaking) {
      speechSynthesis.cancel();
      stop();
      return;
    }
    const speech = new SpeechSynthesisUtterance(button.dataset.text);
    speech.lang = document.documentElement.lang;
    speech.rate = 0.95;
    speech.onend = stop;
    speech.onerror = stop;
    label.textContent = "Stop";
    button.setAttribute("aria-pressed", "true");
    speechSynthesis.speak(speech);
  });
  addEventListener("pagehide", () => speechSynthesis.cancel());
}
