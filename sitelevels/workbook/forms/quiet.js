// JupyterLab takes single letters typed on a list or a button for commands: x would cut the cell that holds the form.
// It heeds a mark on the very element that has the focus, so each gets one when it is entered.
export default {
  render({ el }) {
    let gone = false;
    const keep = () => {
      const form = el.parentElement?.closest(".widget-vbox");
      if (form) form.addEventListener("focusin", (event) => event.target.setAttribute("data-lm-suppress-shortcuts", "true"));
      else if (!gone) requestAnimationFrame(keep);
    };
    keep();
    return () => { gone = true; };
  },
};
