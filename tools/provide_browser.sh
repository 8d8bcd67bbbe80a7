#!/bin/sh
# Gives the browser tests a Chromium: tools/provide_browser.sh PLAYWRIGHT
# Never fails: where no browser can be had, the tests that need one fail and say what to do.
for name in chromium chromium-browser google-chrome; do
    if command -v "$name" > /dev/null; then exit 0; fi
done
if [ "$(id -u)" = 0 ] && command -v apt-get > /dev/null; then
    echo "installing chromium from the system's packages, for the browser tests"
    (apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends chromium) \
        > /dev/null 2>&1 && exit 0
fi
"$1" install chromium-headless-shell || echo "no Chromium could be had: the browser tests will fail"
