
// What is wider than the screen can be scrolled by keyboard too.
document.querySelectorAll('.wide, figure').forEach(function (box) {
  if (box.scrollWidth <= box.clientWidth) return;
  box.tabIndex = 0;
  box.setAttribute('role', 'region');
  box.setAttribute('aria-label', 'Wider than the screen: scroll');
});
