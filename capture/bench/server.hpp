// The bench page's server: one page on the loopback address, and, if it is shared, on the shop's network for one client (share.hpp).
//
//   GET  /                            the page, and its parts beside it
//   GET  /api/shop                    what there is: the card, how many spools, schedules
//   GET  /api/spools                  spools of the rack (see spools_answer)
//   GET  /api/rack/surfaces           the audit of the rack against all that surfaces take, once it is done; asking begins it
//   GET  /api/rack/jobs               the same, against what the shop's jobs were read with
//   GET  /api/coats                   what the shop's coat tests did and what was to be expected, likewise
//   GET  /api/coats/check             a test wrap, `before` and `after` being its readings, against what was to be expected (see coat_check_answer)
//   POST /api/coats                   a form of the same; keeps it as a coat test
//   POST /api/readings                a photo as it is, in the body; answers {id}. Query: `light`, what the light is called; `name` of its file; `camera`, where
//                                     the file does not say it; `with`, the reading of another photo of the same wrap: both are then read together; with `band`, from 1, the photo shows the
//                                     same thread where the sun did not reach, and gives that band its colour
//   POST /api/readings/ID/again       a form; reads the same photos by `edges` (mm,mm,...; may be empty) or `region` (x,y,width,height in pixels of
//                                     the first) with `band` (from 1, whose colour it is to be; 0: the region alone); answers {id}
//   POST /api/readings/ID/spools      a form; keeps bands of dry thread with their spools (see enrol_answer)
//   POST /api/readings/ID/job         a form; keeps what was chosen as a job (see keep_job)
//   GET  /api/readings/ID             where its reading stands, and the reading
//   GET  /api/readings/ID/photo.jpg   the photo to draw it on
//   GET  /api/readings/ID/matches     spools for a band (see match_answer)
//   GET  /api/readings/ID/sheet.html  the job sheet of what was chosen (see sheet_answer)
//   GET  /api/jobs                    the shop's jobs
//   GET  /api/jobs/NAME/sheet.html    the sheet of one
//   GET  /api/jobs/NAME/note.html     the customer's note of it
//   GET  /api/jobs/NAME/photos/N      a photo of one
//   POST /api/frames                  a frame of a camera, JPEG or PNG; answers what is to be mended. Query: `rod`, 1 to look for the rod too
//   POST /api/code                    a form; `code` lets the client in with which the page is shared
//
// What a request says names no file but a job, by a name of letters, digits, - and _; no photo is kept but in memory, unless as a job.
#pragma once

#include <filesystem>
#include <memory>
#include <string>

#include "bench/reading_queue.hpp"
#include "colour/result.hpp"
#include "shop/card_layout.hpp"

namespace bindhue::capture::bench {

struct BenchOptions {
    std::filesystem::path shop;
    CardLayout card;
    int port = 0;  // 0: any free one
    bool share = false;
    QueueLimits limits{};
};

class BenchServer {
  public:
    // Takes the port at 127.0.0.1, shared at all addresses of this machine. Errors: storage if it is in use or may not be taken; not_found if it is to
    // be shared and there is no network.
    static Result<BenchServer> at(BenchOptions options);

    BenchServer(BenchServer&&) noexcept;
    BenchServer& operator=(BenchServer&&) noexcept;
    ~BenchServer();

    int port() const;
    std::string address() const;  // "http://127.0.0.1:4610/"
    // Where another machine of the network opens the page, and the code that it must say; empty if the page is not shared.
    std::string shared_address() const;
    std::string code() const;

    void serve();  // until stop()
    void stop();   // from any thread, while serve() runs

  private:
    struct Inside;
    explicit BenchServer(std::unique_ptr<Inside> inside);
    std::unique_ptr<Inside> inside_;
};

}  // namespace bindhue::capture::bench
