// The bench page's server: one page on the loopback address.
//
//   GET  /                            the page, and its parts beside it
//   GET  /api/shop                    what there is: spools, schedules, the card
//   GET  /api/rack/surfaces           the audit of the rack against all that surfaces take, once it is done; asking begins it
//   GET  /api/rack/jobs               the same, against what the shop's jobs were read with
//   POST /api/readings                a photo as it is, in the body; answers {id}
//   GET  /api/readings/ID             where its reading stands, and the reading
//   GET  /api/readings/ID/photo.jpg   the photo to draw it on
//   GET  /api/readings/ID/matches     spools for a band (see match_answer)
//   GET  /api/readings/ID/sheet.html  the job sheet of what was chosen (see sheet_answer)
//
// Nothing that a request says is ever used as the name of a file, and no photo is kept but in memory.
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
    QueueLimits limits;
};

class BenchServer {
  public:
    // Takes the port at 127.0.0.1. Error: storage if it is in use or may not be taken.
    static Result<BenchServer> at(BenchOptions options);

    BenchServer(BenchServer&&) noexcept;
    BenchServer& operator=(BenchServer&&) noexcept;
    ~BenchServer();

    int port() const;
    std::string address() const;  // "http://127.0.0.1:4610/"

    void serve();  // until stop()
    void stop();   // from any thread, while serve() runs

  private:
    struct Inside;
    explicit BenchServer(std::unique_ptr<Inside> inside);
    std::unique_ptr<Inside> inside_;
};

}  // namespace bindhue::capture::bench
