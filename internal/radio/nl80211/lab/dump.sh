# For lab/run.sh -s: a scene of four access points, and what a real kernel says
# of it. This is how testdata/lab/scan.txt was made.
air ap 02:00:5e:20:00:10 freq=2412 level=-50 ssid=depot country=DE load=7,128 tpc=17 profiles=guest,floor
air ap 02:00:5e:20:00:20 freq=2412 level=-61 ssidhex=1b5b33316d0a00ff
air ap 02:00:5e:20:00:30 freq=2437 level=-72 ssid=unseen hidden
air ap 02:00:5e:20:00:40 freq=2437 level=-83 ssid=broken tpc=-3 broken
air at 3 4
guest scan
echo "kernel $(uname -r)"
guest dump
[ "$(air levels | wc -w)" = 4 ] && echo "PASS hook: the air answers a script" || echo "FAIL hook"
