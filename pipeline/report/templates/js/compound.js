// A click on a point opens its stop on its test's page: the trace names the test, the point's data the stop.
stopsheet.figures.followed.push((name, node) => {
  node.on("plotly_click", (event) => {
    for (const point of event.points) {
      const { test, fields } = point.data.meta || {};
      if (test && fields && fields[0] === "stop") {
        location.href = `../../tests/${encodeURIComponent(test)}/test.html#stop-${point.data.customdata[point.pointIndex]}`;
        return;
      }
    }
  });
});
