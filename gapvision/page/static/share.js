// A report handed to whatever the phone shares files with. Browsers allow it only on pages that came
// encrypted or from this device; elsewhere the link stays what it is, a download.

export function share(link) {
  if (!navigator.canShare) return;
  link.addEventListener("click", async (event) => {
    event.preventDefault();
    try {
      const response = await fetch(link.href);
      if (!response.ok) throw new Error(response.status);
      const file = new File([await response.blob()], link.download, { type: "application/pdf" });
      if (!navigator.canShare({ files: [file] })) throw new Error("not shared");
      await navigator.share({ files: [file], title: document.title });
    } catch (error) {
      if (error.name !== "AbortError") location.href = link.href;
    }
  });
}
