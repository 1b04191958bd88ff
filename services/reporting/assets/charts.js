// Draws the figures of a page. The server sends what to draw; colours come from
// the style sheet, so that charts follow the reader's colour scheme. Without
// this file, or where drawing fails, the tables beside the charts hold it all.
(() => {
  'use strict';
  const holders = [...document.querySelectorAll('.chart[data-src]')];
  if (!window.echarts || holders.length === 0) return;

  const drawn = new Map();

  // Axes leave out zeros behind the point; labels and tooltips write amounts whole.
  const formatter = (body, whole = false) => {
    const number = (most, least = 0) => new Intl.NumberFormat(body.locale,
      { minimumFractionDigits: least, maximumFractionDigits: most });
    const minus = (text) => text.replace('-', '\u2212');
    const beside = (text, sign) => (sign ? `${text}\u00a0${sign}` : text);
    switch (body.form) {
      case 'minutes':
        return (value) => {
          const minutes = Math.round(Math.abs(value) * 60);
          const sign = value < 0 && minutes > 0 ? '\u2212' : '';
          return `${sign}${number(0).format(Math.floor(minutes / 60))}:${String(minutes % 60).padStart(2, '0')}`;
        };
      case 'money':
        return (value) => beside(minus(number(body.digits, whole ? body.digits : 0).format(value)), body.currency);
      case 'share':
        return (value) => beside(minus(number(1, whole ? 1 : 0).format(value)), '%');
      case 'rate':
        return (value) => beside(minus(number(1, whole ? 1 : 0).format(value)), body.unit ? `min/${body.unit}` : 'min');
      case 'reading':
        return (value) => minus(number(1, whole ? 1 : 0).format(value));
      default:
        return (value) => beside(minus(number(3).format(value)), body.unit);
    }
  };

  const axisOf = (axis) => (Array.isArray(axis) ? axis[0] : axis);

  // The legend wraps where its names do not fit beside each other; the plot ends above it.
  const legendRow = 22;
  const legendNames = (body) => {
    if (!body.option.legend?.show) return [];
    if (body.shape !== 'range') return body.option.series.map((series) => series.name);
    const names = body.shown.map((series) => series.name);
    return [body.middle, names[0], names[2], names[4]];
  };
  const legendRows = (body, width, font) => {
    const pen = document.createElement('canvas').getContext('2d');
    pen.font = font;
    let [rows, left] = [0, 0];
    for (const name of legendNames(body)) {
      const wide = pen.measureText(name).width + 42; // with its sign and the gaps
      if (wide > left) [rows, left] = [rows + 1, width - 16];
      left -= wide;
    }
    return rows;
  };

  // The number of a category as it is told; a change has its sign.
  const told = (body, write, series, at) => {
    const value = series.values[at];
    if (value === '-' || value == null) return '\u2013';
    return body.shape === 'steps' && !body.whole?.[at] && value > 0 ? `+${write(value)}` : write(value);
  };

  // Bars from one amount to another do not tell their numbers by their ends: labels
  // and tooltips do.
  const tell = (body, option, text, edge, narrow) => {
    const write = formatter(body, true);
    const labels = option.series.find((series) => series.name === 'labels');
    if (labels) {
      labels.symbolSize = 0;
      labels.silent = true;
      const short = narrow ? formatter({ ...body, currency: '' }, true) : write;
      labels.label = {
        ...text, show: true, position: 'right', fontSize: 12,
        formatter: ({ dataIndex }) => told(body, short, body.shown[0], dataIndex),
      };
      axisOf(option.grid).right = narrow ? 64 : 96;
    }
    const names = body.shown.map((series) => series.name);
    if (body.shape === 'range') {
      option.legend.data = legendNames(body);
      axisOf(option.grid).top = 20;
      const [least, median] = [0, 2].map((n) => option.series.find((series) => series.name === names[n]));
      const [from, to] = [0, 4].map((n) => body.shown[n].values);
      least.markLine = {
        silent: true, symbol: 'none', z: 1, label: { show: false }, lineStyle: { color: edge, width: 2, type: 'solid' },
        data: from.map((value, at) => [{ coord: [value, at] }, { coord: [to[at], at] }])
          .filter(([start]) => typeof start.coord[0] === 'number'),
      };
      for (const series of option.series) if (series.type === 'bar') series.barWidth = 18;
      median.z = 4;
      median.label = {
        ...text, show: true, position: 'top', distance: 9, fontSize: 12,
        formatter: ({ dataIndex }) => told(body, write, body.shown[2], dataIndex),
      };
    }
    option.tooltip.formatter = (params) => {
      const at = params[0].dataIndex;
      const lines = body.shown.map((series) => `${series.name}: ${told(body, write, series, at)}`);
      return [params[0].name || axisOf(option.yAxis).data[at], ...lines].join('\n');
    };
  };

  const dress = (body, holder, rows) => {
    const style = getComputedStyle(document.documentElement);
    const colour = (name) => style.getPropertyValue(name).trim();
    const option = structuredClone(body.option);
    const write = formatter(body);
    const exact = formatter(body, true);
    const text = { color: colour('--text'), fontFamily: getComputedStyle(document.body).fontFamily, fontSize: 13 };
    const several = option.series.length > 1;
    option.color = several ? [1, 2, 3, 4, 5, 6].map((n) => colour(`--series-${n}`)) : [colour('--accent')];
    option.backgroundColor = 'transparent';
    option.textStyle = text;
    option.animation = false; // calm, and the same for those who asked for less motion
    option.legend.textStyle = text;
    if (rows > 0) axisOf(option.grid).bottom = 24 + rows * legendRow;
    option.tooltip = {
      ...option.tooltip,
      renderMode: 'richText',
      confine: true,
      valueFormatter: (value) => (value === '-' || value == null ? '–' : exact(value)),
      axisPointer: { type: 'shadow', shadowStyle: { color: colour('--shade') } },
      backgroundColor: colour('--surface'),
      borderColor: colour('--line'),
      textStyle: text,
    };
    // Colours that the server names are those of the style sheet.
    for (const part of option.series.flatMap((series) => [series, ...(series.data ?? [])])) {
      if (part?.itemStyle?.color?.startsWith('--')) part.itemStyle.color = colour(part.itemStyle.color);
    }
    for (const axis of [axisOf(option.xAxis), axisOf(option.yAxis)]) {
      const category = axis.type === 'category';
      axis.axisLine = { show: category, lineStyle: { color: colour('--line-strong') } };
      axis.axisTick = { show: false };
      axis.splitLine = { show: !category, lineStyle: { color: colour('--line') } };
      axis.axisLabel = { ...axis.axisLabel, ...text, lineHeight: 16, hideOverlap: true };
      if (!category) {
        const narrow = holder.clientWidth < 420;
        axis.axisLabel.formatter = narrow ? formatter({ ...body, unit: '', currency: '' }) : write;
        axis.splitNumber = narrow ? 3 : 5;
        if (body.form === 'count') axis.minInterval = 1;
      }
    }
    if (body.shown) tell(body, option, text, colour('--edge'), holder.clientWidth < 420);
    const names = axisOf(option.yAxis);
    if (names.type === 'category') {
      Object.assign(names.axisLabel, {
        interval: 0, hideOverlap: false, width: Math.min(170, holder.clientWidth * 0.36), overflow: 'break',
      });
    }
    return option;
  };

  // Every bar keeps its thickness, however many there are, and a plot its height.
  const height = (body, rows) => {
    const { option } = body;
    const names = axisOf(option.yAxis);
    const more = rows > 0 ? (rows - 1) * legendRow + 6 : 0;
    if (names.type !== 'category') return 300 + more;
    if (body.shape === 'range') return names.data.length * 58 + 120 + more;
    const stacked = option.series.some((series) => series.stack);
    const bars = stacked ? 1 : option.series.length;
    return names.data.length * Math.max(34, bars * 20 + 14) + 70 + more;
  };

  const draw = (holder, body) => {
    drawn.get(holder)?.chart.dispose();
    const rows = legendRows(body, holder.clientWidth, `13px ${getComputedStyle(document.body).fontFamily}`);
    holder.style.height = `${height(body, rows)}px`;
    const chart = window.echarts.init(holder, null, { renderer: 'svg' });
    chart.setOption(dress(body, holder, rows));
    // The library describes the chart on its holder; the page did so already,
    // with what is to be seen.
    holder.setAttribute('role', 'img');
    holder.setAttribute('aria-label', holder.dataset.finding);
    drawn.set(holder, { chart, body });
  };

  const redraw = () => drawn.forEach(({ body }, holder) => draw(holder, body));
  const fit = () => drawn.forEach(({ chart }) => chart.resize());

  const load = async (holder) => {
    try {
      const answer = await fetch(holder.dataset.src, { headers: { Accept: 'application/json' } });
      if (!answer.ok) throw new Error(`the server answered ${answer.status}`);
      draw(holder, await answer.json());
    } catch {
      // The numbers are what matters: open their table instead.
      holder.hidden = true;
      holder.closest('figure').querySelector('details').open = true;
    }
  };

  // A page that was brought up to date asks for its charts again.
  document.addEventListener('stale', (event) => load(event.target));

  Promise.all(holders.map(load)).then(() => {
    document.documentElement.dataset.charts = 'drawn';
    let width = window.innerWidth;
    window.addEventListener('resize', () => {
      if (window.innerWidth === width) return;
      width = window.innerWidth;
      redraw();
    });
    for (const query of ['(prefers-color-scheme: dark)', 'print']) {
      window.matchMedia(query).addEventListener('change', redraw);
    }
    window.addEventListener('beforeprint', fit);
  });
})();
